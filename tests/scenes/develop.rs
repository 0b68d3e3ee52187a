//! From sensor values to the picture that a phone saves: blur, noise, white balance, colour, tone, sharpening, 8 bit.

use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::bake::Rgb;
use super::camera::{Exposure, Phone, raw};
use super::seed::{normal, stream};
use super::spectra::{N, Spectrum, illuminant};
use super::srgb::encode;

/// A picture being developed.
pub struct Film {
    pub width: usize,
    pub height: usize,
    pub px: Vec<Rgb>,
}

/// Weights of a Gaussian kernel from its middle outwards.
fn kernel(sigma: f64) -> Vec<f32> {
    let reach = (3.0 * sigma).ceil() as usize;
    let half: Vec<f64> = (0..=reach)
        .map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp())
        .collect();
    let sum = 2.0 * half.iter().sum::<f64>() - half[0];
    half.iter().map(|v| (v / sum) as f32).collect()
}

/// Gaussian blur of planes of a picture, edges held.
fn blur<const C: usize>(px: &[[f32; C]], width: usize, height: usize, sigma: f64) -> Vec<[f32; C]> {
    if sigma < 0.15 {
        return px.to_vec();
    }
    let k = kernel(sigma);
    let mut across = vec![[0f32; C]; px.len()];
    across
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, row)| {
            let line = &px[y * width..(y + 1) * width];
            for (x, out) in row.iter_mut().enumerate() {
                let mut sum = [0f32; C];
                for c in 0..C {
                    sum[c] = line[x][c] * k[0];
                }
                for (i, w) in k.iter().enumerate().skip(1) {
                    let (a, b) = (&line[x.saturating_sub(i)], &line[(x + i).min(width - 1)]);
                    for c in 0..C {
                        sum[c] += (a[c] + b[c]) * w;
                    }
                }
                *out = sum;
            }
        });
    let mut down = vec![[0f32; C]; px.len()];
    down.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        for (out, v) in row.iter_mut().zip(&across[y * width..(y + 1) * width]) {
            for c in 0..C {
                out[c] = v[c] * k[0];
            }
        }
        for (i, w) in k.iter().enumerate().skip(1) {
            let a = &across[y.saturating_sub(i) * width..][..width];
            let b = &across[(y + i).min(height - 1) * width..][..width];
            for (x, out) in row.iter_mut().enumerate() {
                for c in 0..C {
                    out[c] += (a[x][c] + b[x][c]) * w;
                }
            }
        }
    });
    down
}

impl Film {
    fn blurred(&mut self, sigma: f64) {
        self.px = blur(&self.px, self.width, self.height, sigma);
    }

    /// Straight motion of `length` pixels.
    fn moved(&mut self, length: f64, direction_deg: f64) {
        if length < 0.5 {
            return;
        }
        let steps = (length.ceil() as usize * 2).max(2);
        let (s, c) = direction_deg.to_radians().sin_cos();
        let (w, h) = (self.width as f64 - 1.001, self.height as f64 - 1.001);
        let src = &self.px;
        let width = self.width;
        let mut out = vec![[0f32; 3]; src.len()];
        out.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            for (x, px) in row.iter_mut().enumerate() {
                for i in 0..steps {
                    let t = ((i as f64 + 0.5) / steps as f64 - 0.5) * length;
                    let (u, v) = (
                        (x as f64 + c * t).clamp(0.0, w),
                        (y as f64 + s * t).clamp(0.0, h),
                    );
                    let (iu, iv) = (u as usize, v as usize);
                    let (fu, fv) = ((u - iu as f64) as f32, (v - iv as f64) as f32);
                    let at = iv * width + iu;
                    for ch in 0..3 {
                        let top = src[at][ch] * (1.0 - fu) + src[at + 1][ch] * fu;
                        let low = src[at + width][ch] * (1.0 - fu) + src[at + width + 1][ch] * fu;
                        px[ch] += (top * (1.0 - fv) + low * fv) / steps as f32;
                    }
                }
            }
        });
        self.px = out;
    }

    /// Shot and read noise, smoothed as noise reduction leaves it: less in lightness, more in colour.
    fn noisy(&mut self, phone: &Phone, gain: f64, seed: u64) {
        let (width, height) = (self.width, self.height);
        let px = &self.px;
        let shot = (gain / phone.full_well) as f32;
        let read = ((phone.read_noise * gain).powi(2)) as f32;
        let mut noise = vec![[0f32; 3]; px.len()];
        noise
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(y, row)| {
                let mut rng: ChaCha8Rng = stream(seed, 1000 + y as u64);
                for (out, v) in row.iter_mut().zip(&px[y * width..(y + 1) * width]) {
                    let n: Rgb = std::array::from_fn(|c| {
                        normal(&mut rng) as f32 * (shot * v[c].clamp(0.0, 1.0) + read).sqrt()
                    });
                    // Lightness and two colour differences, to be smoothed apart.
                    let l = 0.25 * n[0] + 0.5 * n[1] + 0.25 * n[2];
                    *out = [l, n[0] - l, n[2] - l];
                }
            });
        let light: Vec<[f32; 1]> = noise.iter().map(|n| [n[0]]).collect();
        let colour: Vec<[f32; 2]> = noise.iter().map(|n| [n[1], n[2]]).collect();
        let light = blur(&light, width, height, phone.smooth[0]);
        let colour = blur(&colour, width, height, phone.smooth[1]);
        for ((px, l), c) in self.px.iter_mut().zip(light).zip(colour) {
            let (l, r, b) = (l[0], c[0], c[1]);
            px[0] += l + r;
            px[1] += l - 0.5 * (r + b);
            px[2] += l + b;
        }
    }
}

/// A fast table of a function on 0..1.
fn table(f: impl Fn(f64) -> f64) -> Vec<f32> {
    (0..=4096)
        .map(|i| f(f64::from(i) / 4096.0) as f32)
        .collect()
}

fn look(t: &[f32], v: f32) -> f32 {
    let p = v.clamp(0.0, 1.0) * 4096.0;
    let i = (p as usize).min(4095);
    t[i] + (t[i + 1] - t[i]) * (p - i as f32)
}

/// Develops sensor values. `light` is the whole light on the card, `paper` what bare paper at the card's centre sends.
pub fn develop(
    mut film: Film,
    phone: &Phone,
    shot: &Exposure,
    light: &Spectrum,
    paper: [f64; 3],
    seed: u64,
) -> image::RgbImage {
    let (width, height) = (film.width, film.height);
    let wide = width.max(height) as f64;
    let white = raw(&phone.sensitivity, light, &[1.0; N]);
    // The sensor is full at `headroom`; after the white balance no channel may pass that, or full pixels would turn pink.
    let matrix = phone.matrix(light);
    // What is not taken away of the light's colour is what sets it apart from daylight.
    let day = raw(&phone.sensitivity, &illuminant("D65"), &[1.0; N]);
    let gains: [f32; 3] = std::array::from_fn(|c| {
        let tint = [shot.tint[0], 0.0, shot.tint[1]][c];
        let (full, none) = (white[1] / white[c], day[1] / day[c]);
        (none * (full / none).powf(shot.adaptation) * tint.exp()) as f32
    });
    let (full, toe) = (phone.headroom as f32, phone.toe as f32);
    let least = gains.iter().copied().fold(f32::INFINITY, f32::min).min(1.0);
    let exposure = f64::from(least) * 0.55 / paper[1].max(1e-6) * 2f64.powf(shot.stops);
    let strewn: Rgb = std::array::from_fn(|c| {
        let sum: f64 = film.px.iter().map(|p| f64::from(p[c])).sum();
        (phone.flare * sum / film.px.len() as f64) as f32
    });
    let (cx, cy) = (width as f64 / 2.0, height as f64 / 2.0);
    film.px
        .par_chunks_mut(width)
        .enumerate()
        .for_each(|(y, row)| {
            for (x, px) in row.iter_mut().enumerate() {
                let r = ((x as f64 - cx).powi(2) + (y as f64 - cy).powi(2)) / (cx * cx + cy * cy);
                let v = (exposure * (1.0 - phone.vignette * r)) as f32;
                *px = std::array::from_fn(|c| (px[c] + strewn[c]) * v);
            }
        });
    film.blurred((phone.blur.powi(2) + shot.defocus.powi(2)).sqrt() * wide);
    film.moved(shot.motion * wide, shot.motion_deg);
    film.noisy(phone, shot.gain, seed);

    film.px.par_iter_mut().for_each(|px| {
        let b: Rgb = std::array::from_fn(|c| (px[c] * gains[c] / least).min(full));
        *px = std::array::from_fn(|r| {
            let v: f32 = (0..3).map(|c| matrix[r][c] as f32 * b[c]).sum();
            if v < toe {
                toe * ((v - toe) / toe).exp()
            } else {
                v
            }
        });
    });

    let luma = |v: &Rgb| 0.25 * v[0] + 0.65 * v[1] + 0.10 * v[2];
    if phone.local_tone > 0.0 {
        // Large-radius means on a reduced picture.
        let f = (width.max(height) / 100).max(1);
        let (sw, sh) = (width.div_ceil(f), height.div_ceil(f));
        let mut small = vec![[0f32; 1]; sw * sh];
        for y in 0..sh {
            for x in 0..sw {
                let (u, v) = (
                    (x * f + f / 2).min(width - 1),
                    (y * f + f / 2).min(height - 1),
                );
                small[y * sw + x] = [luma(&film.px[v * width + u]).max(0.01).ln()];
            }
        }
        let small = blur(&small, sw, sh, 7.0);
        let strength = phone.local_tone as f32;
        let middle = 0.35f32.ln();
        film.px
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(y, row)| {
                let v = ((y as f32 + 0.5) / f as f32 - 0.5).clamp(0.0, sh as f32 - 1.0);
                let iv = (v as usize).min(sh.saturating_sub(2));
                let fv = v - iv as f32;
                for (x, px) in row.iter_mut().enumerate() {
                    let u = ((x as f32 + 0.5) / f as f32 - 0.5).clamp(0.0, sw as f32 - 1.0);
                    let iu = (u as usize).min(sw.saturating_sub(2));
                    let fu = u - iu as f32;
                    let at = |i: usize, j: usize| small[j * sw + i][0];
                    let top = at(iu, iv) * (1.0 - fu) + at(iu + 1, iv) * fu;
                    let low = at(iu, iv + 1) * (1.0 - fu) + at(iu + 1, iv + 1) * fu;
                    let gain = (strength * (middle - (top * (1.0 - fv) + low * fv)))
                        .clamp(-0.5, 0.7)
                        .exp();
                    *px = px.map(|p| p * gain);
                }
            });
    }

    // Highlights are rolled off from 0.7 to the full sensor; then the transfer function and an S on the encoded scale.
    let room = phone.headroom;
    let press = |v: f64| 1.0 - (-(v - 0.7) / 0.3).exp();
    let shoulder = |v: f64| {
        if v < 0.7 {
            v
        } else {
            0.7 + 0.3 * press(v) / press(room)
        }
    };
    let curve = table(|v| {
        let e = encode(shoulder(v * room).min(1.0));
        e + phone.tone * (e * e * (3.0 - 2.0 * e) - e)
    });
    let saturation = phone.saturation as f32;
    film.px.par_iter_mut().for_each(|px| {
        let e = px.map(|v| look(&curve, v / room as f32));
        let l = luma(&e);
        *px = e.map(|v| l + (v - l) * saturation);
    });
    if phone.sharpen > 0.0 {
        let light: Vec<[f32; 1]> = film.px.iter().map(|v| [luma(v)]).collect();
        let soft = blur(
            &light,
            width,
            height,
            (phone.sharpen_radius * wide).max(0.5),
        );
        let share = phone.sharpen as f32;
        for ((px, l), s) in film.px.iter_mut().zip(&light).zip(&soft) {
            let d = (share * (l[0] - s[0])).clamp(-0.12, 0.12);
            *px = px.map(|v| v + d);
        }
    }
    let mut out = image::RgbImage::new(width as u32, height as u32);
    for (to, from) in out.pixels_mut().zip(&film.px) {
        to.0 = from.map(|v| (v * 255.0 + 0.5).clamp(0.0, 255.0) as u8);
    }
    if phone.half_chroma {
        halve_chroma(&mut out);
    }
    out
}

/// What a JPEG with halved colour resolution leaves: each 2 x 2 block shares its mean colour difference (the encoder used
/// here keeps full colour resolution).
fn halve_chroma(picture: &mut image::RgbImage) {
    let (w, h) = picture.dimensions();
    let luma = |p: &image::Rgb<u8>| {
        0.299 * f32::from(p.0[0]) + 0.587 * f32::from(p.0[1]) + 0.114 * f32::from(p.0[2])
    };
    for y in (0..h).step_by(2) {
        for x in (0..w).step_by(2) {
            let block: Vec<(u32, u32)> = [(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)]
                .into_iter()
                .filter(|(u, v)| *u < w && *v < h)
                .collect();
            let mut mean = [0f32; 3];
            for (u, v) in &block {
                let p = picture.get_pixel(*u, *v);
                let l = luma(p);
                for (m, v) in mean.iter_mut().zip(p.0) {
                    *m += (f32::from(v) - l) / block.len() as f32;
                }
            }
            for (u, v) in &block {
                let p = picture.get_pixel_mut(*u, *v);
                let l = luma(p);
                p.0 = mean.map(|m| (l + m + 0.5).clamp(0.0, 255.0) as u8);
            }
        }
    }
}
