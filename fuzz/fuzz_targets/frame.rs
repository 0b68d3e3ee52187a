//! Any text as a frame file, and a small picture looked at by one that passes.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, Photo, decode};
use tintwell::place::frame::Frame;

static PHOTO: LazyLock<Photo> = LazyLock::new(|| {
    let bytes = include_bytes!("../small.png");
    decode(bytes, &Limits::default()).expect("a photo")
});

fuzz_target!(|text: &str| {
    let Ok(frame) = Frame::parse(text) else {
        return;
    };
    let _ = look(&PHOTO, &frame.regions());
    let here = [PHOTO.picture.width(), PHOTO.picture.height()];
    let _ = look(
        &PHOTO,
        &Where::Regions {
            white: frame.white,
            liquid: frame.vial,
            photo: Some(here),
        },
    );
});
