//! HEIC files; read only in builds with the feature `heic`. The files: `tests/photo/README.md`.

use tintwell::photo::{Limits, decode};

const TURNED: &[u8] = include_bytes!("turned.heic");
const DEEP: &[u8] = include_bytes!("ten-bit-p3.heic");

#[cfg(not(feature = "heic"))]
#[test]
fn without_the_feature_there_is_advice() {
    let avif: &[u8] = b"\0\0\0\x18ftypavif\0\0\0\0mif1avif";
    for (bytes, name) in [(TURNED, "HEIC"), (DEEP, "HEIC"), (avif, "AVIF")] {
        let e = decode(bytes, &Limits::default()).expect_err("not built in");
        assert!(e.what.contains(name), "{}", e.what);
        assert!(
            e.fix.contains("JPEG") && e.fix.contains("feature `heic`"),
            "{}",
            e.fix
        );
    }
}

#[cfg(feature = "heic")]
mod with_the_feature {
    use super::*;
    use tintwell::photo::Picture;

    /// Top left, top right, bottom left, bottom right, as they were written.
    const QUARTERS: [[f64; 3]; 4] = [
        [200.0, 40.0, 60.0],
        [40.0, 180.0, 90.0],
        [50.0, 70.0, 210.0],
        [230.0, 220.0, 120.0],
    ];

    /// The middles of the quarters are these, within two codes of 8 bits: what compression at high quality leaves.
    fn shows(picture: &Picture, quarters: [[f64; 3]; 4]) {
        let (w, h) = (picture.width(), picture.height());
        for (i, expected) in (0..4).zip(quarters) {
            let found = picture.encoded(w / 4 + i % 2 * w / 2, h / 4 + i / 2 * h / 2);
            for (e, f) in expected.iter().zip(found) {
                assert!(
                    (e - 255.0 * f).abs() <= 2.0,
                    "{i}: {expected:?}, found {found:?}"
                );
            }
        }
    }

    /// The file says to turn the picture to the right, and its EXIF says so again: it is turned once.
    #[test]
    fn a_picture_is_turned_once_and_keeps_its_facts() {
        let photo = decode(TURNED, &Limits::default()).expect("a photo");
        assert_eq!((photo.picture.width(), photo.picture.height()), (64, 96));
        let [a, b, c, d] = QUARTERS;
        shows(&photo.picture, [c, a, d, b]);
        assert_eq!(
            photo.facts.taken_at_text().as_deref(),
            Some("2026-02-23T09:05:12-08:00")
        );
        assert_eq!(photo.notes, []);
    }

    /// Red of Display P3 lies outside sRGB: as BT.2020 light, by the matrices of `colour.rs`, it is not what sRGB would give.
    #[test]
    fn ten_bits_and_coded_primaries_are_kept() {
        let photo = decode(DEEP, &Limits::default()).expect("a photo");
        shows(&photo.picture, QUARTERS);
        let codes: std::collections::HashSet<u64> = (0..photo.picture.width())
            .flat_map(|x| photo.picture.encoded(x, 9))
            .map(|v| (v * 65535.0).round() as u64)
            .collect();
        // 8 bits spread over 16 are multiples of 257.
        assert!(codes.iter().any(|c| c % 257 != 0), "{codes:?}");
        let srgb = Picture::from_rgb8(1, 1, vec![200, 40, 60]).linear(0, 0).0;
        let p3 = photo.picture.linear(24, 16).0;
        assert!(p3[0] - srgb[0] > 0.05, "{p3:?} against {srgb:?}");
        let expected = crate::colour::light_of_p3([200, 40, 60]);
        for (e, f) in expected.iter().zip(p3) {
            assert!((e - f).abs() < 0.02, "{expected:?} against {p3:?}");
        }
    }

    #[test]
    fn cut_off_files_are_refused() {
        for whole in [TURNED, DEEP] {
            for cut in 12..whole.len() {
                assert!(
                    decode(&whole[..cut], &Limits::default()).is_err(),
                    "cut at {cut}"
                );
            }
        }
    }

    #[test]
    fn limits_hold() {
        let limits = Limits {
            max_pixels: 6000,
            ..Limits::default()
        };
        let e = decode(TURNED, &limits).expect_err("96 x 64 pixels");
        assert!(e.what.contains("megapixels"), "{}", e.what);
    }
}
