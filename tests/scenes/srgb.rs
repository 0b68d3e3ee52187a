//! The transfer function of sRGB, for whatever draws or simulates photos; shares no code with the pipeline.

/// The sRGB transfer function, linear to encoded, IEC 61966-2-1.
pub fn encode(v: f64) -> f64 {
    if v <= 0.0031308 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    }
}

/// The sRGB transfer function, encoded to linear, IEC 61966-2-1.
pub fn decode(v: f64) -> f64 {
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}
