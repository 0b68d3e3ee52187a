//! Any bytes as a photo: decoding, profile and EXIF, and what looks for a card in what comes out.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tintwell::card::design::Design;
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, decode};

fuzz_target!(|bytes: &[u8]| {
    // Small pictures, so that a run tries many.
    let limits = Limits {
        max_pixels: 1 << 18,
        ..Limits::default()
    };
    if let Ok(photo) = decode(bytes, &limits) {
        let _ = look(&photo, &Where::Card(Design::all()));
    }
});
