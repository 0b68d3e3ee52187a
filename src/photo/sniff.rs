//! What a file is, told from its first bytes: formats that are not read here with what to do about them, and the few
//! promises of a header that have to be known before a decoder sees it.

const TO_JPEG: &str =
    "set the phone's camera to save JPEG (\"most compatible\"), or export the photo as JPEG";
const OR_BUILD: &str = "set the phone's camera to save JPEG (\"most compatible\"), export the photo as JPEG, or build the \
                        program with its feature `heic`";
const PHOTO: &str = "give a JPEG, PNG, WebP or TIFF photo";
const FROM_RAW: &str = "export a JPEG or a 16-bit TIFF from the raw file";

fn at(bytes: &[u8], offset: usize, s: &[u8]) -> bool {
    bytes.get(offset..offset + s.len()) == Some(s)
}

/// What the first bytes say, and the advice for it. `None` if they say nothing.
pub(super) fn other_format(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    if at(bytes, 4, b"ftyp") {
        return Some(match bytes.get(8..12).unwrap_or_default() {
            b"avif" | b"avis" => (
                "an AVIF picture, and this program was built without them",
                OR_BUILD,
            ),
            _ if is_heif(bytes) => (
                "a HEIC photo, as phones save them to keep files small, and this program was built without them",
                OR_BUILD,
            ),
            b"crx " => ("a raw camera file", FROM_RAW),
            _ => ("a video", "give a still photo: JPEG, PNG, WebP or TIFF"),
        });
    }
    let known: [(&[u8], &str, &str); 12] = [
        (b"%PDF", "a PDF document", PHOTO),
        (
            b"GIF8",
            "a GIF picture, whose 256 colours are too few to measure",
            PHOTO,
        ),
        (b"\xFF\x0A", "a JPEG XL picture", TO_JPEG),
        (b"\0\0\0\x0CJXL ", "a JPEG XL picture", TO_JPEG),
        (b"\0\0\0\x0CjP  ", "a JPEG 2000 picture", TO_JPEG),
        (b"FUJIFILMCCD-RAW", "a raw camera file", FROM_RAW),
        (b"IIRO", "a raw camera file", FROM_RAW),
        (b"IIU\0", "a raw camera file", FROM_RAW),
        (b"PK\x03\x04", "a ZIP archive or office document", PHOTO),
        (
            b"8BPS",
            "a layered picture of an image editor",
            "export it as a 16-bit TIFF or PNG",
        ),
        (b"{", "text (perhaps JSON)", PHOTO),
        (b"<", "text (perhaps a web page)", PHOTO),
    ];
    if let Some((_, what, fix)) = known.iter().find(|(start, ..)| at(bytes, 0, start)) {
        return Some((what, fix));
    }
    // The byte after the size fields is the length of a BMP's second header, 12 to 124.
    if at(bytes, 0, b"BM") && bytes.get(14).is_some_and(|n| (12..=124).contains(n)) {
        return Some(("a BMP picture", PHOTO));
    }
    let start = &bytes[..bytes.len().min(512)];
    let text = match std::str::from_utf8(start) {
        Ok(text) => text,
        // The cut at 512 bytes may split a character.
        Err(e) if e.error_len().is_none() => std::str::from_utf8(&start[..e.valid_up_to()]).ok()?,
        Err(_) => return None,
    };
    let readable = text.chars().all(|c| !c.is_control() || c.is_whitespace());
    readable.then_some(("text", PHOTO))
}

/// Whether a file is a HEIF picture (ISO/IEC 23008-12): HEIC of phones, AVIF.
pub(super) fn is_heif(bytes: &[u8]) -> bool {
    const BRANDS: [&[u8]; 10] = [
        b"heic", b"heix", b"hevc", b"hevx", b"mif1", b"msf1", b"heim", b"heis", b"avif", b"avis",
    ];
    at(bytes, 4, b"ftyp") && BRANDS.contains(&bytes.get(8..12).unwrap_or_default())
}

/// Primaries and transfer of a PNG's cICP chunk (PNG third edition, 11.3.2.6), which comes before the picture. None if its samples
/// are not red, green and blue in full range.
pub(super) fn png_coded(bytes: &[u8]) -> Option<(u8, u8)> {
    match png_chunk(bytes, b"cICP")?.get(..4)? {
        [primaries, transfer, 0, 1] => Some((*primaries, *transfer)),
        _ => None,
    }
}

/// Whether a PNG has a chunk for a colour profile, whatever is in it (PNG third edition, 11.3.2.3).
pub(super) fn png_names_profile(bytes: &[u8]) -> bool {
    png_chunk(bytes, b"iCCP").is_some()
}

/// Whether a PNG without a profile says of its samples what is not done here: a cICP chunk of another range than the full one, or a gamma
/// (gAMA, in 100,000ths; PNG third edition, 11.3.2.2) that is not about that of sRGB.
pub(super) fn png_is_coded_otherwise(bytes: &[u8]) -> bool {
    const SRGB: f64 = 45_455.0;
    const ABOUT: f64 = 0.05;
    let has = |kind| png_chunk(bytes, kind).is_some();
    if has(b"cICP") {
        return png_coded(bytes).is_none();
    }
    let gamma = png_chunk(bytes, b"gAMA").and_then(<[u8]>::first_chunk::<4>);
    let other = |told: &[u8; 4]| (f64::from(u32::from_be_bytes(*told)) / SRGB - 1.0).abs() > ABOUT;
    !has(b"sRGB") && gamma.is_some_and(other)
}

/// What begins with the contents of the first PNG chunk of a kind that comes before the picture.
fn png_chunk<'a>(bytes: &'a [u8], wanted: &[u8; 4]) -> Option<&'a [u8]> {
    let mut rest = bytes.get(8..)?;
    loop {
        let (length, tail) = rest.split_first_chunk::<4>()?;
        let (kind, tail) = tail.split_first_chunk::<4>()?;
        if kind == wanted {
            return Some(tail);
        }
        if matches!(kind, b"IDAT" | b"IEND") {
            return None;
        }
        let length = u32::from_be_bytes(*length) as usize;
        rest = tail.get(length.checked_add(4)?..)?;
    }
}

/// Whether a TIFF file is a raw photo in disguise, whose first picture is a preview at most.
///
/// Told by tag 50706, DNGVersion (Adobe DNG 1.7, chapter 4), by a first picture that calls itself a reduced version of
/// another (tag 254, bit 0: TIFF 6.0, section 8), or by the mark that one maker's raw files carry behind the header.
pub(super) fn is_raw(bytes: &[u8]) -> bool {
    at(bytes, 8, b"CR\x02")
        || first_directory(bytes)
            .iter()
            .any(|&(tag, value)| tag == 50706 || (tag == 254 && value & 1 == 1))
}

/// Tags of a TIFF's first directory with their values, as far as those are numbers of the directory itself.
fn first_directory(bytes: &[u8]) -> Vec<(u16, u32)> {
    let little = match bytes.get(..4) {
        Some(b"II*\0") => true,
        Some(b"MM\0*") => false,
        _ => return Vec::new(),
    };
    let number = |offset: usize, length: usize| {
        let field = bytes.get(offset..offset.checked_add(length)?)?;
        let join = |n: u32, b: &u8| n << 8 | u32::from(*b);
        Some(if little {
            field.iter().rev().fold(0, join)
        } else {
            field.iter().fold(0, join)
        })
    };
    let directory = number(4, 4).unwrap_or(0) as usize;
    let count = number(directory, 2).unwrap_or(0) as usize;
    let entry = |i: usize| {
        let start = directory + 2 + 12 * i;
        // Type 3 is a 16-bit number, left-aligned in the field; others are taken as 32 bits.
        let length = if number(start + 2, 2)? == 3 { 2 } else { 4 };
        Some((number(start, 2)? as u16, number(start + 8, length)?))
    };
    (0..count).map_while(entry).collect()
}

/// Width and height that a PNG's header chunk promises (PNG third edition, 11.2.1).
pub(super) fn png_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let header = bytes.get(12..24)?;
    let side =
        |i: usize| u32::from_be_bytes([header[i], header[i + 1], header[i + 2], header[i + 3]]);
    header.starts_with(b"IHDR").then(|| (side(4), side(8)))
}

/// Whether a PNG has its last chunk (ISO/IEC 15948:2004, 11.2.5), whatever follows it.
pub(super) fn png_has_end(bytes: &[u8]) -> bool {
    bytes
        .windows(12)
        .any(|w| w == b"\0\0\0\0IEND\xAE\x42\x60\x82")
}

/// Whether a WebP file is shorter than its RIFF header says (RFC 9649, section 2.3).
pub(super) fn webp_is_cut(bytes: &[u8]) -> bool {
    let promised = bytes
        .get(4..8)
        .map_or(0, |b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    (bytes.len() as u64) < u64::from(promised) + 8
}
