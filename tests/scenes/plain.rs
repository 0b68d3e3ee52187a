//! The plain method, for comparison: scale by the white paper beside the bay, average the middle of the bay, take the
//! nearest point on the broken line through the chart's colours in CIELAB. It is told where the card lies.

use super::Layout;
use super::spectra::{D65_WHITE, SRGB_TO_XYZ, apply};
use super::srgb::decode;

/// CIELAB of the middle of the bay against the white beside it.
pub fn colour(rgb: &image::RgbImage, face: &[[f64; 2]; 4], card: &Layout) -> [f64; 3] {
    let h = homography(card, face);
    let mean = |x0: f64, y0: f64, x1: f64, y1: f64| {
        let mut sum = [0.0; 3];
        const N: usize = 40;
        for j in 0..N {
            for i in 0..N {
                let x = x0 + (x1 - x0) * (i as f64 + 0.5) / N as f64;
                let y = y0 + (y1 - y0) * (j as f64 + 0.5) / N as f64;
                let p = h * nalgebra::Vector3::new(x, y, 1.0);
                let u = (p.x / p.z).clamp(0.0, f64::from(rgb.width() - 1)) as u32;
                let v = (p.y / p.z).clamp(0.0, f64::from(rgb.height() - 1)) as u32;
                let px = rgb.get_pixel(u, v);
                for (s, code) in sum.iter_mut().zip(px.0) {
                    *s += decode(f64::from(code) / 255.0) / (N * N) as f64;
                }
            }
        }
        sum
    };
    let bay = card.bay;
    let white = &card.paper[0];
    let paper = mean(white.x, white.y, white.x + white.w, white.y + white.h);
    let (cx, bottom) = (bay.x + bay.w / 2.0, bay.y + bay.h);
    let seen = mean(cx - 5.0, bottom - 22.0, cx + 5.0, bottom - 8.0);
    let relative: [f64; 3] = std::array::from_fn(|c| seen[c] / paper[c].max(1e-4));
    let xyz = apply(&SRGB_TO_XYZ, relative);
    let f = |v: f64| {
        if v > 216.0 / 24389.0 {
            v.cbrt()
        } else {
            (24389.0 / 27.0 * v + 16.0) / 116.0
        }
    };
    let [x, y, z]: [f64; 3] = std::array::from_fn(|c| f(xyz[c] / D65_WHITE[c]));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// Position among the steps of the nearest point on the broken line through their colours.
pub fn position(steps: &[[f64; 3]], lab: [f64; 3]) -> f64 {
    let mut best = (f64::INFINITY, 0.0);
    for (i, pair) in steps.windows(2).enumerate() {
        let d: [f64; 3] = std::array::from_fn(|c| pair[1][c] - pair[0][c]);
        let e: [f64; 3] = std::array::from_fn(|c| lab[c] - pair[0][c]);
        let t = (dot(d, e) / dot(d, d).max(1e-9)).clamp(0.0, 1.0);
        let r: [f64; 3] = std::array::from_fn(|c| e[c] - t * d[c]);
        if dot(r, r) < best.0 {
            best = (dot(r, r), i as f64 + t);
        }
    }
    best.1
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// From the face's millimetres to the photo, by its four corners.
fn homography(card: &Layout, face: &[[f64; 2]; 4]) -> nalgebra::Matrix3<f64> {
    let from = [
        [0.0, 0.0],
        [card.width_mm, 0.0],
        [card.width_mm, card.height_mm],
        [0.0, card.height_mm],
    ];
    let mut a = nalgebra::SMatrix::<f64, 8, 8>::zeros();
    let mut b = nalgebra::SVector::<f64, 8>::zeros();
    for (i, ([x, y], [u, v])) in from.iter().zip(face).enumerate() {
        a.set_row(
            2 * i,
            &nalgebra::RowSVector::from([*x, *y, 1.0, 0.0, 0.0, 0.0, -x * u, -y * u]),
        );
        a.set_row(
            2 * i + 1,
            &nalgebra::RowSVector::from([0.0, 0.0, 0.0, *x, *y, 1.0, -x * v, -y * v]),
        );
        b[2 * i] = *u;
        b[2 * i + 1] = *v;
    }
    let s = a.lu().solve(&b).expect("a card with four corners");
    nalgebra::Matrix3::new(s[0], s[1], s[2], s[3], s[4], s[5], s[6], s[7], 1.0)
}
