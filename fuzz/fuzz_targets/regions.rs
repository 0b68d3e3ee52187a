//! Any eight numbers as the regions of white and liquid of a frame, on a small picture.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, Photo, decode};
use tintwell::place::Area;

static PHOTO: LazyLock<Photo> = LazyLock::new(|| {
    let bytes = include_bytes!("../small.png");
    decode(bytes, &Limits::default()).expect("a photo")
});

fuzz_target!(|numbers: [f64; 8]| {
    let area = |k: usize| Area {
        x: numbers[k],
        y: numbers[k + 1],
        w: numbers[k + 2],
        h: numbers[k + 3],
    };
    let _ = look(
        &PHOTO,
        &Where::Regions {
            white: area(0),
            liquid: area(4),
            photo: None,
        },
    );
});
