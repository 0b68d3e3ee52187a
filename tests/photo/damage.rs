//! Limits, wrong files and damaged files: one clear error each, never a panic, never half a picture.

use image::ExtendedColorType::{Rgb8, Rgb16};
use tintwell::error::Error;
use tintwell::photo::{Limits, Picture, decode, is_cut_off};

use crate::files::{Extras, busy, jpeg, png, png_chunk, tiff, webp};

fn refused(bytes: &[u8]) -> Error {
    match decode(bytes, &Limits::default()) {
        Ok(photo) => panic!(
            "a picture of {} x {} came out",
            photo.picture.width(),
            photo.picture.height()
        ),
        Err(e) => e,
    }
}

fn mean(picture: &Picture) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for y in 0..picture.height() {
        for x in 0..picture.width() {
            for (s, v) in sum.iter_mut().zip(picture.encoded(x, y)) {
                *s += v * 255.0;
            }
        }
    }
    sum.map(|s| s / f64::from(picture.width() * picture.height()))
}

#[test]
fn wrong_files_are_named() {
    let cases: [(&[u8], &str, &str); 11] = [
        (b"", "0 bytes", "again"),
        (
            b"\0\0\0\x18ftypisom\0\0\0\0isomiso2",
            "video",
            "still photo",
        ),
        (b"%PDF-1.7\n%", "PDF", "JPEG"),
        (b"GIF89a\x01\0\x01\0", "GIF", "JPEG"),
        (b"FUJIFILMCCD-RAW 0201", "raw", "export"),
        (b"II*\0\x10\0\0\0CR\x02\0", "raw", "export"),
        (b"PK\x03\x04\x14\0", "ZIP", "JPEG"),
        (b"{\"a\": 1}", "JSON", "JPEG"),
        (
            "nitrate, pH\n5, 8.1 \u{2013} fine\n".as_bytes(),
            "text",
            "JPEG",
        ),
        (&[0x93, 0xF0, 0x01, 0x02, 0x88], "no picture format", "JPEG"),
        (b"\xFF\xD8\xFF\xE0", "cut off", "again"),
    ];
    for (bytes, what, fix) in cases {
        let error = refused(bytes);
        assert!(error.what.contains(what), "{error}");
        assert!(error.fix.contains(fix), "{error}");
    }
    let rgb = [90; 48];
    assert!(
        refused(&tiff(4, 4, &rgb, &[(254, 1)])).what.contains("raw"),
        "a preview is no photo"
    );
    assert!(
        refused(&tiff(4, 4, &rgb, &[(50706, 1)]))
            .what
            .contains("raw"),
        "DNG"
    );
}

#[test]
fn headers_that_promise_too_much_are_refused() {
    let mut header = 50_000u32.to_be_bytes().to_vec();
    header.extend(50_000u32.to_be_bytes());
    header.extend([8, 2, 0, 0, 0]);
    let mut large_png = b"\x89PNG\r\n\x1a\n".to_vec();
    large_png.extend(png_chunk(b"IHDR", &header));
    large_png.extend(png_chunk(b"IDAT", &[0; 64]));
    large_png.extend(png_chunk(b"IEND", &[]));

    let mut large_jpeg = jpeg(32, 32, &busy(32, 32), Extras::default());
    let frame = large_jpeg
        .windows(2)
        .position(|w| w == [0xFF, 0xC0])
        .expect("a frame header");
    large_jpeg[frame + 5..frame + 7].copy_from_slice(&50_000u16.to_be_bytes());
    large_jpeg[frame + 7..frame + 9].copy_from_slice(&50_000u16.to_be_bytes());

    let large_tiff = tiff(50_000, 50_000, &[0; 64], &[]);
    for file in [large_png, large_jpeg, large_tiff] {
        let error = refused(&file);
        assert!(error.what.contains("50000 x 50000"), "{error}");
        assert!(error.what.contains("120.0 megapixels"), "{error}");
    }
}

#[test]
fn limits_are_inclusive() {
    let limits = |max_bytes, max_pixels| Limits {
        max_bytes,
        max_pixels,
    };
    let rgb = busy(20, 10);
    for file in [
        png(20, 10, &rgb, Rgb8, Extras::default()),
        jpeg(20, 10, &rgb, Extras::default()),
        webp(20, 10, &rgb, Extras::default()),
        tiff(20, 10, &rgb, &[]),
    ] {
        let size = file.len() as u64;
        assert!(decode(&file, &limits(size, 200)).is_ok());
        assert!(
            decode(&file, &limits(size, 199))
                .unwrap_err()
                .what
                .contains("20 x 10")
        );
        let error = decode(&file, &limits(size - 1, 200)).unwrap_err();
        assert!(error.what.contains(&size.to_string()), "{error}");
    }
}

/// A copy that is not done is told from a whole photo, wherever it stands.
#[test]
fn the_missing_end_of_a_copy_is_noticed() {
    let image = image::DynamicImage::from(image::RgbImage::from_fn(90, 70, |x, y| {
        image::Rgb([
            (x * 5 % 256) as u8,
            (y * 7 % 256) as u8,
            (x * y % 256) as u8,
        ])
    }));
    for format in [
        image::ImageFormat::Jpeg,
        image::ImageFormat::Png,
        image::ImageFormat::WebP,
    ] {
        let mut whole = std::io::Cursor::new(Vec::new());
        image.write_to(&mut whole, format).unwrap();
        let whole = whole.into_inner();
        assert!(!is_cut_off(&whole), "{format:?}");
        for cut in (0..whole.len() - 1).step_by(53).skip(1) {
            assert!(is_cut_off(&whole[..cut]), "{format:?} at {cut}");
        }
    }
    assert!(is_cut_off(b""));
}

#[test]
fn a_truncated_jpeg_is_an_error_everywhere() {
    let file = jpeg(320, 240, &busy(320, 240), Extras::default());
    assert!(decode(&file, &Limits::default()).is_ok());
    let end = file.len();
    assert!(end > 40_000, "the file is too short for this test: {end}");
    for cut in (1024..end).step_by(1024).chain(end - 40..end) {
        assert!(refused(&file[..cut]).what.contains("JPEG"), "cut at {cut}");
    }
}

#[test]
fn a_jpeg_cut_and_closed_is_an_error() {
    let file = jpeg(320, 240, &busy(320, 240), Extras::default());
    let scan = file
        .windows(2)
        .position(|w| w == [0xFF, 0xDA])
        .expect("a scan")
        + 14;
    // Within the last few bytes a cut may leave all blocks whole.
    for cut in (scan..file.len() - 16).step_by(997) {
        let mut closed = file[..cut].to_vec();
        closed.extend([0xFF, 0xD9]);
        assert!(refused(&closed).what.contains("JPEG"), "cut at {cut}");
    }
    let restarts = include_bytes!("restarts.jpg");
    for cut in (700..restarts.len() - 16).step_by(13) {
        let mut closed = restarts[..cut].to_vec();
        closed.extend([0xFF, 0xD9]);
        assert!(refused(&closed).what.contains("JPEG"), "cut at {cut}");
    }
}

#[test]
fn a_progressive_jpeg_that_lacks_scans_is_an_error() {
    let file = include_bytes!("progressive.jpg");
    let scans: Vec<usize> = (0..file.len() - 1)
        .filter(|&i| file[i..i + 2] == [0xFF, 0xDA])
        .collect();
    assert!(scans.len() > 5, "{} scans", scans.len());
    let last = *scans.last().expect("a scan");
    for cut in (scans[0] + 20..last)
        .step_by(7)
        .chain(scans[1..].iter().copied())
    {
        let mut closed = file[..cut].to_vec();
        closed.extend([0xFF, 0xD9]);
        assert!(refused(&closed).what.contains("JPEG"), "cut at {cut}");
    }
}

#[test]
fn other_truncated_files_are_errors_everywhere() {
    let rgb = busy(64, 48);
    let deep: Vec<u8> = rgb.iter().flat_map(|v| [*v, 17]).collect();
    for (name, file, tail) in [
        // After the last of the picture data a PNG still has its closing chunk of 12 bytes.
        ("PNG", png(64, 48, &rgb, Rgb8, Extras::default()), 24),
        ("deep PNG", png(64, 48, &deep, Rgb16, Extras::default()), 24),
        ("WebP", webp(64, 48, &rgb, Extras::default()), 1),
        ("TIFF", tiff(64, 48, &rgb, &[]), 1),
    ] {
        for cut in (12..file.len() - tail)
            .step_by(211)
            .chain([file.len() - tail])
        {
            assert!(
                decode(&file[..cut], &Limits::default()).is_err(),
                "{name} cut at {cut} of {}",
                file.len()
            );
        }
    }
}

#[test]
fn kinds_of_jpeg_from_another_encoder() {
    // Mean colours by libjpeg-turbo, see photo/README.md; decoders may differ by a code in chroma.
    let colour = [128.43, 128.13, 142.66];
    for (name, file, expected) in [
        (
            "progressive",
            &include_bytes!("progressive.jpg")[..],
            colour,
        ),
        ("restarts", &include_bytes!("restarts.jpg")[..], colour),
        ("grey", &include_bytes!("grey.jpg")[..], [129.88; 3]),
    ] {
        let photo = decode(file, &Limits::default()).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(photo.notes, [], "{name}");
        let found = mean(&photo.picture);
        assert!(
            found.iter().zip(expected).all(|(f, e)| (f - e).abs() < 0.7),
            "{name}: {found:?}"
        );
        for cut in 2..file.len() {
            assert!(
                decode(&file[..cut], &Limits::default()).is_err(),
                "{name} cut at {cut}"
            );
        }
    }
}

#[test]
fn cmyk_and_rare_jpegs_are_refused() {
    let frame = |marker: u8, bits: u8, components: u8| {
        let mut file = vec![
            0xFF,
            0xD8,
            0xFF,
            marker,
            0,
            8 + 3 * components,
            bits,
            0,
            16,
            0,
            16,
            components,
        ];
        for i in 0..components {
            file.extend([i + 1, 0x11, 0]);
        }
        file.extend([0xFF, 0xD9]);
        file
    };
    assert!(refused(&frame(0xC0, 8, 4)).what.contains("CMYK"));
    assert!(refused(&frame(0xC1, 12, 3)).what.contains("rare kind"));
    assert!(refused(&frame(0xC9, 8, 3)).what.contains("arithmetic"));
    assert!(
        refused(&frame(0xC0, 8, 3)).what.contains("missing"),
        "no scan at all"
    );
}

#[test]
fn what_follows_a_jpeg_is_left_alone_and_said() {
    let base = jpeg(48, 32, &busy(48, 32), Extras::default());
    let plain = decode(&base, &Limits::default()).expect("a photo");
    assert_eq!(plain.notes, []);
    let mut more = base.clone();
    more.extend(jpeg(16, 16, &[0; 768], Extras::default()));
    let photo = decode(&more, &Limits::default()).expect("a photo");
    assert_eq!((photo.picture.width(), photo.picture.height()), (48, 32));
    assert_eq!(photo.picture.srgb8(), plain.picture.srgb8());
    assert_eq!(
        photo
            .notes
            .iter()
            .map(|f| f.code.as_str())
            .collect::<Vec<_>>(),
        ["more-pictures"]
    );
    // Cut inside the base picture, the second picture's end does not stand in for the first's.
    let mut cut = base[..base.len() - 200].to_vec();
    cut.extend(jpeg(16, 16, &[0; 768], Extras::default()));
    assert!(refused(&cut).what.contains("cut off"));
}

#[test]
fn an_animation_gives_its_first_picture_and_a_note() {
    let still = png(4, 4, &[90; 48], Rgb8, Extras::default());
    // The animation chunk (2 frames, endless) goes right behind the header chunk.
    let mut animated = still[..33].to_vec();
    animated.extend(png_chunk(b"acTL", &[0, 0, 0, 2, 0, 0, 0, 0]));
    animated.extend_from_slice(&still[33..]);
    let photo = decode(&animated, &Limits::default()).expect("a photo");
    assert_eq!(photo.notes[0].code, "animated");
    assert_eq!(photo.picture.srgb8().into_raw(), [90; 48]);
}

/// Any byte may be wrong: there is a picture within the limits or an error, never a panic.
#[test]
fn flipped_bytes_never_panic() {
    let rgb = busy(40, 30);
    let extras = Extras {
        icc: Some(
            moxcms::ColorProfile::new_display_p3()
                .encode()
                .expect("a profile"),
        ),
        exif: Some(crate::files::exif(&[(
            exif::Tag::Orientation,
            exif::Value::Short(vec![6]),
        )])),
    };
    let limits = Limits {
        max_bytes: 1_000_000,
        max_pixels: 1_000_000,
    };
    let mut state = 7u32;
    let mut random = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as usize
    };
    for file in [
        jpeg(40, 30, &rgb, extras.clone()),
        include_bytes!("progressive.jpg").to_vec(),
        include_bytes!("restarts.jpg").to_vec(),
        png(40, 30, &rgb, Rgb8, extras.clone()),
        webp(40, 30, &rgb, extras),
        tiff(40, 30, &rgb, &[(274, 6)]),
    ] {
        for _ in 0..400 {
            let mut damaged = file.clone();
            // Half of the damage goes into the headers, where it hurts most.
            let reach = if random() % 2 == 0 {
                damaged.len()
            } else {
                damaged.len().min(700)
            };
            for _ in 0..=random() % 3 {
                damaged[random() % reach] = random() as u8;
            }
            if let Ok(photo) = decode(&damaged, &limits) {
                let pixels = u64::from(photo.picture.width()) * u64::from(photo.picture.height());
                assert!((1..=limits.max_pixels).contains(&pixels), "{pixels} pixels");
            }
        }
    }
}
