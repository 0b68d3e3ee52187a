//! Makes photo files in memory.

use image::codecs::{jpeg::JpegEncoder, png::PngEncoder, webp::WebPEncoder};
use image::{ExtendedColorType, ImageEncoder};

/// What is written beside the samples.
#[derive(Default, Clone)]
pub struct Extras {
    pub icc: Option<Vec<u8>>,
    pub exif: Option<Vec<u8>>,
}

fn add(encoder: &mut impl ImageEncoder, extras: Extras) {
    if let Some(icc) = extras.icc {
        encoder
            .set_icc_profile(icc)
            .expect("the encoder takes a profile");
    }
    if let Some(exif) = extras.exif {
        encoder
            .set_exif_metadata(exif)
            .expect("the encoder takes EXIF");
    }
}

pub fn jpeg(width: u32, height: u32, rgb: &[u8], extras: Extras) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut out, 95);
    add(&mut encoder, extras);
    encoder
        .write_image(rgb, width, height, ExtendedColorType::Rgb8)
        .expect("encoding");
    out
}

pub fn png(
    width: u32,
    height: u32,
    samples: &[u8],
    kind: ExtendedColorType,
    extras: Extras,
) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = PngEncoder::new(&mut out);
    add(&mut encoder, extras);
    encoder
        .write_image(samples, width, height, kind)
        .expect("encoding");
    out
}

pub fn webp(width: u32, height: u32, rgb: &[u8], extras: Extras) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = WebPEncoder::new_lossless(&mut out);
    add(&mut encoder, extras);
    encoder
        .write_image(rgb, width, height, ExtendedColorType::Rgb8)
        .expect("encoding");
    out
}

/// An uncompressed little-endian TIFF of 8-bit RGB with further 16-bit tags.
pub fn tiff(width: u16, height: u16, rgb: &[u8], more: &[(u16, u16)]) -> Vec<u8> {
    let mut tags = vec![
        (256, width),
        (257, height),
        (259, 1),
        (262, 2),
        (277, 3),
        (278, height),
    ];
    tags.extend_from_slice(more);
    let bits_at = 8 + 2 + 12 * (tags.len() + 3) + 4;
    let data_at = bits_at + 6;
    let mut entries: Vec<(u16, u16, u32, u32)> =
        tags.iter().map(|&(t, v)| (t, 3, 1, u32::from(v))).collect();
    entries.push((258, 3, 3, bits_at as u32));
    entries.push((273, 4, 1, data_at as u32));
    entries.push((279, 4, 1, rgb.len() as u32));
    entries.sort_unstable();
    let mut out = b"II*\0\x08\0\0\0".to_vec();
    out.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(u16::to_le_bytes(kind));
        out.extend(count.to_le_bytes());
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 4]);
    out.extend([8, 0, 8, 0, 8, 0]);
    out.extend_from_slice(rgb);
    out
}

/// A PNG chunk with its length and checksum.
pub fn png_chunk(kind: &[u8; 4], contents: &[u8]) -> Vec<u8> {
    let mut body = kind.to_vec();
    body.extend_from_slice(contents);
    // CRC-32 of ISO 3309, bit by bit, as PNG annex D describes it.
    let crc = !body.iter().fold(u32::MAX, |crc, b| {
        (0..8).fold(crc ^ u32::from(*b), |c, _| {
            if c & 1 == 1 {
                c >> 1 ^ 0xEDB8_8320
            } else {
                c >> 1
            }
        })
    });
    let mut out = (contents.len() as u32).to_be_bytes().to_vec();
    out.extend(body);
    out.extend(crc.to_be_bytes());
    out
}

/// Busy RGB samples: a ramp with noise from a small fixed generator, so that JPEG data is long.
pub fn busy(width: u32, height: u32) -> Vec<u8> {
    let mut state = 1u32;
    (0..width * height * 3)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (40 + (i / 3 % width) * 150 / width + (state >> 24) / 5) as u8
        })
        .collect()
}

/// EXIF fields as an EXIF block.
pub fn exif(fields: &[(exif::Tag, exif::Value)]) -> Vec<u8> {
    let fields: Vec<exif::Field> = fields
        .iter()
        .map(|(tag, value)| exif::Field {
            tag: *tag,
            ifd_num: exif::In::PRIMARY,
            value: value.clone(),
        })
        .collect();
    let mut writer = exif::experimental::Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut out = std::io::Cursor::new(Vec::new());
    writer.write(&mut out, true).expect("writing EXIF");
    out.into_inner()
}
