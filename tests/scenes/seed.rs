//! Seeded randomness: streams that do not depend on the order in which they are asked for.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A generator for one purpose of one seed.
pub fn stream(seed: u64, purpose: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(purpose);
    rng
}

/// A standard normal number.
pub fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// A number in 0..1 that belongs to a lattice point.
fn lattice(x: i64, y: i64, seed: u64) -> f64 {
    let mut h = seed
        ^ (x as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (y as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F);
    h ^= h >> 29;
    h = h.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h ^= h >> 32;
    h = h.wrapping_mul(0x94D0_49BB_1331_11EB);
    h ^= h >> 29;
    (h >> 11) as f64 / (1u64 << 53) as f64
}

/// Smooth noise in -1..1 with features about one unit large.
pub fn texture(x: f64, y: f64, seed: u64) -> f64 {
    let (i, j) = (x.floor(), y.floor());
    let (u, v) = (x - i, y - j);
    let (u, v) = (u * u * (3.0 - 2.0 * u), v * v * (3.0 - 2.0 * v));
    let (i, j) = (i as i64, j as i64);
    let top = lattice(i, j, seed) * (1.0 - u) + lattice(i + 1, j, seed) * u;
    let low = lattice(i, j + 1, seed) * (1.0 - u) + lattice(i + 1, j + 1, seed) * u;
    2.0 * (top * (1.0 - v) + low * v) - 1.0
}
