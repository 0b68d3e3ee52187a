//! From sensor values to the file: exposure, blur, noise, white balance, colour matrix, tone, local tone, saturation,
//! sharpening, 8 bit, and the EXIF block.

use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::Scene;
use super::bake::Rgb;
use super::render::Stage;
use super::seed::{normal, stream};
use super::spectra::{N, Spectrum, encode};

/// Blurs every channel with a Gaussian of standard deviation `sigma` pixels, by three box passes.
fn blur(data: &mut [Rgb], w: usize, h: usize, sigma: f64) {
    if sigma < 0.15 {
        return;
    }
    if sigma < 1.2 {
        // A small kernel directly.
        let k: Vec<f32> = (-3..=3).map(|i: i32| (-0.5 * (f64::from(i) / sigma).powi(2)).exp() as f32).collect();
        let sum: f32 = k.iter().sum();
        let k: Vec<f32> = k.iter().map(|v| v / sum).collect();
        separable(data, w, h, |line, out| {
            let n = line.len();
            for (i, o) in out.iter_mut().enumerate() {
                let mut acc = [0f32; 3];
                for (j, weight) in k.iter().enumerate() {
                    let at = (i + j).saturating_sub(3).min(n - 1);
                    for c in 0..3 {
                        acc[c] += weight * line[at][c];
                    }
                }
                *o = acc;
            }
        });
        return;
    }
    // Three boxes of width m have variance (m^2 - 1) / 4.
    let m = ((4.0 * sigma * sigma + 1.0).sqrt().round() as usize).max(1) | 1;
    for _ in 0..3 {
        separable(data, w, h, |line, out| {
            let n = line.len();
            let half = m / 2;
            let get = |i: isize| line[i.clamp(0, n as isize - 1) as usize];
            let mut acc = [0f32; 3];
            for i in -(half as isize)..=(half as isize) {
                let v = get(i);
                for c in 0..3 {
                    acc[c] += v[c];
                }
            }
            for (i, o) in out.iter_mut().enumerate() {
                *o = acc.map(|v| v / m as f32);
                let (gone, come) = (get(i as isize - half as isize), get(i as isize + half as isize + 1));
                for c in 0..3 {
                    acc[c] += come[c] - gone[c];
                }
            }
        });
    }
}

/// Runs a line filter along rows and then along columns.
fn separable(data: &mut [Rgb], w: usize, h: usize, filter: impl Fn(&[Rgb], &mut [Rgb]) + Sync) {
    data.par_chunks_mut(w).for_each(|row| {
        let copy = row.to_vec();
        filter(&copy, row);
    });
    let mut turned = vec![[0f32; 3]; w * h];
    turned.par_chunks_mut(h).enumerate().for_each(|(x, column)| {
        let line: Vec<Rgb> = (0..h).map(|y| data[y * w + x]).collect();
        filter(&line, column);
    });
    data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (x, px) in row.iter_mut().enumerate() {
            *px = turned[x * h + y];
        }
    });
}

fn motion(data: &mut [Rgb], w: usize, h: usize, length: f64, deg: f64) {
    if length < 0.7 {
        return;
    }
    let source = data.to_vec();
    let (s, c) = deg.to_radians().sin_cos();
    let n = length.ceil() as usize + 1;
    data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (x, px) in row.iter_mut().enumerate() {
            let mut acc = [0f32; 3];
            for i in 0..n {
                let t = (i as f64 / (n - 1) as f64 - 0.5) * length;
                let u = (x as f64 + t * c).round().clamp(0.0, (w - 1) as f64) as usize;
                let v = (y as f64 + t * s).round().clamp(0.0, (h - 1) as f64) as usize;
                for k in 0..3 {
                    acc[k] += source[v * w + u][k] / n as f32;
                }
            }
            *px = acc;
        }
    });
}

/// The S curve of a phone on encoded values, strength 0..0.5: lifts mid tones' contrast, rolls off highlights.
fn s_curve(v: f64, strength: f64) -> f64 {
    let s = v * v * (3.0 - 2.0 * v);
    v * (1.0 - strength) + s * strength
}

/// Develops sensor values to 8-bit output.
pub fn develop(scene: &Scene, stage: &Stage, mut data: Vec<Rgb>) -> image::RgbImage {
    let (w, h) = (scene.size.0 as usize, scene.size.1 as usize);
    let phone = &scene.phone;
    let e = &scene.exposure;
    let width = w as f64;

    // Metering on the card's paper, white balance by the light's mean colour over the card.
    let card = stage.layout();
    let mut paper = [0.0; 3];
    let spots = [[0.2, 0.2], [0.8, 0.2], [0.5, 0.5], [0.2, 0.8], [0.8, 0.8]];
    for [u, v] in spots {
        let p = stage.paper_at(u * card.width_mm, v * card.height_mm);
        for c in 0..3 {
            paper[c] += p[c] / spots.len() as f64;
        }
    }
    let lights: Vec<(&Spectrum, f64)> = scene.light.sources.iter().map(|s| (&s.spd, s.strength)).collect();
    let mut mean_light = [0.0; N];
    for (spd, strength) in &lights {
        let sum: f64 = spd.iter().sum();
        for i in 0..N {
            mean_light[i] += spd[i] / sum * strength;
        }
    }
    let white = super::camera::raw(&phone.sensitivity, &mean_light, &[1.0; N]);
    let gain = 0.55 * 2f64.powf(e.stops) / paper[1];
    let balance: [f64; 3] = std::array::from_fn(|c| {
        let tint = match c {
            0 => e.tint[0],
            2 => e.tint[1],
            _ => 0.0,
        };
        (white[1] / white[c]).powf(e.adaptation) * tint.exp()
    });

    for px in &mut data {
        for c in 0..3 {
            px[c] = (f64::from(px[c]) * gain) as f32;
        }
    }
    blur(&mut data, w, h, phone.blur.hypot(e.defocus) * width);
    motion(&mut data, w, h, e.motion * width, e.motion_deg);

    // Noise: shot noise of the electrons and read noise, smoothed by noise reduction (lightness less than colour).
    let electrons = phone.full_well / e.gain;
    let mut noise: Vec<Rgb> = vec![[0.0; 3]; w * h];
    noise.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        let mut rng: ChaCha8Rng = stream(scene.seed ^ 0x5eed, 1000 + y as u64);
        for (x, n) in row.iter_mut().enumerate() {
            for c in 0..3 {
                let v = f64::from(data[y * w + x][c]).max(0.0);
                let sd = (v / electrons + (phone.read_noise * e.gain.sqrt()).powi(2)).sqrt();
                n[c] = (sd * normal(&mut rng)) as f32;
            }
        }
    });
    let mut luma: Vec<Rgb> = noise.iter().map(|n| [(n[0] + 2.0 * n[1] + n[2]) / 4.0; 3]).collect();
    let mut chroma: Vec<Rgb> =
        noise.iter().zip(&luma).map(|(n, l)| [n[0] - l[0], n[1] - l[1], n[2] - l[2]]).collect();
    blur(&mut luma, w, h, phone.smooth[0]);
    blur(&mut chroma, w, h, phone.smooth[1]);
    for ((px, l), c) in data.iter_mut().zip(&luma).zip(&chroma) {
        for k in 0..3 {
            px[k] += l[k] + c[k];
        }
    }

    // Vignette, white balance, clipping of the sensor, colour matrix.
    let matrix = phone.matrix(&mean_light);
    let half_diagonal = 0.5 * (w as f64).hypot(h as f64);
    data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (x, px) in row.iter_mut().enumerate() {
            let r = (x as f64 - w as f64 / 2.0).hypot(y as f64 - h as f64 / 2.0) / half_diagonal;
            let v = 1.0 - phone.vignette * r * r;
            let balanced: [f64; 3] = std::array::from_fn(|c| (f64::from(px[c]) * v * balance[c]).clamp(-0.02, 1.6));
            // Highlights that clip go white together.
            *px = std::array::from_fn(|r| (0..3).map(|c| matrix[r][c] * balanced[c]).sum::<f64>().clamp(0.0, 1.0) as f32);
        }
    });

    // Local tone: each place is pulled towards the mean brightness by a power of its surroundings.
    if phone.local_tone > 0.0 {
        let f = (w / 100).max(1);
        let (sw, sh) = (w.div_ceil(f), h.div_ceil(f));
        let mut small = vec![[0f32; 3]; sw * sh];
        for y in 0..sh {
            for x in 0..sw {
                let (px, n) = (0..f)
                    .flat_map(|j| (0..f).map(move |i| (x * f + i, y * f + j)))
                    .filter(|(i, j)| *i < w && *j < h)
                    .map(|(i, j)| data[j * w + i])
                    .fold((0.0, 0), |(s, n), p| (s + (p[0] + 2.0 * p[1] + p[2]) / 4.0, n + 1));
                small[y * sw + x] = [px / n as f32; 3];
            }
        }
        blur(&mut small, sw, sh, 12.0);
        data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            for (x, px) in row.iter_mut().enumerate() {
                let at = |v: usize, n: usize| ((v as f64 + 0.5) / f as f64 - 0.5).clamp(0.0, (n - 1) as f64 - 1e-6);
                let (u, v) = (at(x, sw), at(y, sh));
                let (i, j) = (u as usize, v as usize);
                let (a, b) = ((u - i as f64) as f32, (v - j as f64) as f32);
                let g = |i: usize, j: usize| small[j.min(sh - 1) * sw + i.min(sw - 1)][0];
                let mean = (g(i, j) * (1.0 - a) + g(i + 1, j) * a) * (1.0 - b) + (g(i, j + 1) * (1.0 - a) + g(i + 1, j + 1) * a) * b;
                let factor = (0.3 / f64::from(mean.max(0.02))).powf(phone.local_tone).clamp(0.7, 1.6) as f32;
                *px = px.map(|v| (v * factor).min(1.0));
            }
        });
    }

    // Encoding, tone, saturation.
    for px in &mut data {
        let toned: [f64; 3] = px.map(|v| s_curve(encode(f64::from(v)), phone.tone));
        let y = 0.25 * toned[0] + 0.5 * toned[1] + 0.25 * toned[2];
        *px = toned.map(|v| (y + phone.saturation * (v - y)).clamp(0.0, 1.0) as f32);
    }
    // Unsharp masking on lightness.
    let mut soft: Vec<Rgb> = data.iter().map(|p| [(p[0] + 2.0 * p[1] + p[2]) / 4.0; 3]).collect();
    let sharp: Vec<f32> = soft.iter().map(|p| p[0]).collect();
    blur(&mut soft, w, h, phone.sharpen_radius * width);
    for ((px, s), y) in data.iter_mut().zip(&soft).zip(&sharp) {
        let d = (phone.sharpen as f32) * (y - s[0]);
        *px = px.map(|v| (v + d).clamp(0.0, 1.0));
    }
    if phone.half_chroma {
        halve_chroma(&mut data, w, h);
    }
    let raw: Vec<u8> = data.iter().flat_map(|p| p.map(|v| (v * 255.0).round() as u8)).collect();
    image::RgbImage::from_raw(scene.size.0, scene.size.1, raw).expect("three values a pixel")
}

/// Colour at half resolution, as most phones store it.
fn halve_chroma(data: &mut [Rgb], w: usize, h: usize) {
    for y in (0..h.saturating_sub(1)).step_by(2) {
        for x in (0..w.saturating_sub(1)).step_by(2) {
            let at = [y * w + x, y * w + x + 1, (y + 1) * w + x, (y + 1) * w + x + 1];
            let luma = at.map(|i| 0.299 * data[i][0] + 0.587 * data[i][1] + 0.114 * data[i][2]);
            let mean: Rgb = std::array::from_fn(|c| at.iter().map(|i| data[*i][c]).sum::<f32>() / 4.0);
            let mean_luma = luma.iter().sum::<f32>() / 4.0;
            for (i, l) in at.into_iter().zip(luma) {
                data[i] = mean.map(|v| (v - mean_luma + l).clamp(0.0, 1.0));
            }
        }
    }
}

/// A small EXIF block (TIFF, little-endian), written by hand: model, software-free, time with offset, exposure, flash.
pub fn exif(scene: &Scene) -> Vec<u8> {
    enum V {
        Text(String),
        Short(u16),
        Ratio(u32, u32),
        Pointer,
    }
    let e = &scene.exposure;
    let first = vec![(0x0110u16, V::Text(scene.phone.name.clone())), (0x0132, V::Text(scene.taken_at.clone())), (0x8769, V::Pointer)];
    let second = vec![
        (0x829Au16, V::Ratio((1e6 * e.gain / 100.0) as u32, 1_000_000)),
        (0x8827, V::Short((50.0 * e.gain) as u16)),
        (0x9003, V::Text(scene.taken_at.clone())),
        (0x9011, V::Text("+01:00".into())),
        (0x9209, V::Short(u16::from(e.flash))),
    ];
    fn directory(entries: &[(u16, V)], at: u32, next: u32) -> Vec<u8> {
        let mut head = (entries.len() as u16).to_le_bytes().to_vec();
        let data_at = at + 2 + 12 * entries.len() as u32 + 4;
        let mut data: Vec<u8> = Vec::new();
        for (tag, value) in entries {
            let (kind, count, bytes): (u16, u32, Vec<u8>) = match value {
                V::Text(t) => (2, t.len() as u32 + 1, [t.as_bytes(), b"\0"].concat()),
                V::Short(v) => (3, 1, v.to_le_bytes().to_vec()),
                V::Ratio(a, b) => (5, 1, [a.to_le_bytes(), b.to_le_bytes()].concat()),
                V::Pointer => (4, 1, next.to_le_bytes().to_vec()),
            };
            head.extend(tag.to_le_bytes());
            head.extend(kind.to_le_bytes());
            head.extend(count.to_le_bytes());
            if bytes.len() <= 4 {
                let mut inline = bytes;
                inline.resize(4, 0);
                head.extend(inline);
            } else {
                head.extend((data_at + data.len() as u32).to_le_bytes());
                data.extend(&bytes);
                if data.len() % 2 == 1 {
                    data.push(0);
                }
            }
        }
        head.extend(0u32.to_le_bytes());
        head.extend(data);
        head
    }
    let start = 8u32;
    let length = directory(&first, start, 0).len() as u32;
    let mut out = b"II*\0".to_vec();
    out.extend(start.to_le_bytes());
    out.extend(directory(&first, start, start + length));
    out.extend(directory(&second, start + length, 0));
    out
}
