//! Any bytes as a chart file, and all that is shown of a chart that passes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tintwell::chart::{file, limits, resolve};
use tintwell::report::{json, text};

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(chart) = file::parse(text) else {
        return;
    };
    let Ok(flags) = resolve::flags(&chart) else {
        return;
    };
    text::chart(&chart, &flags, true).expect("it has a curve");
    json::chart(&chart, &flags).expect("it has a curve");
    limits::along(&chart, 1).expect("it has a curve");
});
