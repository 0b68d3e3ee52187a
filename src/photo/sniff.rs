//! What a file is that is not one of the photo formats read here, and what to do about it.

/// What the first bytes say, and the advice for it. `None` if they say nothing.
pub(super) fn other_format(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    const TO_JPEG: &str = "set the phone's camera to save JPEG (\"most compatible\"), or export the photo as JPEG";
    const PHOTO: &str = "give a JPEG, PNG, WebP or TIFF photo";
    const FROM_RAW: &str = "export a JPEG or a 16-bit TIFF from the raw file";
    let at = |i: usize, s: &[u8]| bytes.get(i..i + s.len()) == Some(s);
    if at(4, b"ftyp") {
        let brand = bytes.get(8..12).unwrap_or_default();
        return Some(match brand {
            b"avif" | b"avis" => ("an AVIF picture, which this program does not read", TO_JPEG),
            b"heic" | b"heix" | b"hevc" | b"hevx" | b"mif1" | b"msf1" | b"heim" | b"heis" => {
                ("a HEIC photo, which this build does not read", TO_JPEG)
            }
            b"crx " => ("a raw camera file", FROM_RAW),
            _ => ("a video", PHOTO),
        });
    }
    if at(0, b"%PDF") {
        return Some(("a PDF document", PHOTO));
    }
    if at(0, b"GIF8") {
        return Some(("a GIF picture, whose 256 colours are too few to measure", PHOTO));
    }
    if at(0, b"BM") && bytes.len() > 26 && bytes[14] <= 124 {
        return Some(("a BMP picture", PHOTO));
    }
    if at(0, b"FUJIFILMCCD-RAW") || at(8, b"CR\x02") || at(0, b"IIRO") || at(0, b"IIU\0") {
        return Some(("a raw camera file", FROM_RAW));
    }
    if at(0, b"{") || at(0, b"[") {
        return Some(("text (perhaps JSON)", PHOTO));
    }
    if at(0, b"PK\x03\x04") {
        return Some(("a ZIP archive or office document", PHOTO));
    }
    let start = &bytes[..bytes.len().min(512)];
    let text = std::str::from_utf8(start).is_ok_and(|t| t.chars().all(|c| !c.is_control() || c.is_whitespace()));
    text.then_some(("text", PHOTO))
}

/// Whether a TIFF file is a raw photo in disguise: tag 50706, DNGVersion (Adobe DNG 1.7, chapter 4), in the first directory.
pub(super) fn is_dng(bytes: &[u8]) -> bool {
    let little = match bytes.get(..4) {
        Some(b"II*\0") => true,
        Some(b"MM\0*") => false,
        _ => return false,
    };
    let u16_at = |i: usize| {
        bytes.get(i..i + 2).map(|b| if little { u16::from_le_bytes([b[0], b[1]]) } else { u16::from_be_bytes([b[0], b[1]]) })
    };
    let u32_at = |i: usize| {
        bytes.get(i..i + 4).map(|b| {
            let b = [b[0], b[1], b[2], b[3]];
            if little { u32::from_le_bytes(b) } else { u32::from_be_bytes(b) }
        })
    };
    let Some(directory) = u32_at(4).map(|o| o as usize) else { return false };
    let entries = u16_at(directory).unwrap_or(0);
    (0..usize::from(entries)).any(|i| directory.checked_add(2 + 12 * i).and_then(u16_at) == Some(50706))
}

/// Where the base picture of a JPEG ends (just past its end-of-image marker); `None` if it does not.
///
/// Walks the segments (ITU-T T.81, annex B); in entropy-coded data a 0xFF is followed by 0x00 or a restart marker.
pub(super) fn jpeg_end(bytes: &[u8]) -> Option<usize> {
    let mut i = 2;
    loop {
        while *bytes.get(i)? != 0xFF {
            i += 1;
        }
        while *bytes.get(i)? == 0xFF {
            i += 1;
        }
        let marker = bytes[i];
        i += 1;
        match marker {
            0xD9 => return Some(i),
            // Stuffed byte, restart markers, start of image and TEM have no length.
            0x00 | 0x01 | 0xD0..=0xD8 => {}
            _ => {
                let length = usize::from(u16::from_be_bytes([*bytes.get(i)?, *bytes.get(i + 1)?]));
                i = i.checked_add(length.max(2))?;
            }
        }
    }
}

/// Number of colour components of a JPEG, from its frame header.
pub(super) fn jpeg_components(bytes: &[u8]) -> Option<u8> {
    let mut i = 2;
    loop {
        if *bytes.get(i)? != 0xFF {
            return None;
        }
        let marker = *bytes.get(i + 1)?;
        let length = usize::from(u16::from_be_bytes([*bytes.get(i + 2)?, *bytes.get(i + 3)?]));
        match marker {
            0xC0..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) => return bytes.get(i + 9).copied(),
            0xDA | 0xD9 => return None,
            0xFF => i += 1,
            _ => i = i.checked_add(2 + length)?,
        }
    }
}
