//! The population behind `calibration/metamerism.json`: what other lamps and cameras do to inks and to dyes.
//!
//! `cargo run --release --example metamerism -- write` draws it anew and writes the table; `-- check` says how far the table's
//! dyes are missed in worlds that it was not made from.
//!
//! Every lamp, camera, ink and dye is drawn from a range of its kind, given beside it here; apart from CIE daylight and
//! fluorescent illuminants none is a table's, and none is one of those that the scenes of the study have. Ranges are common
//! practice: band positions and widths as handbooks of colour give them for such things, none fitted to a reading.

#[path = "mod.rs"]
mod scenes;

use nalgebra::{DMatrix, Matrix3, Vector3};
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use scenes::camera::{fit_matrix, matrix_under, raw};
use scenes::print::{Paper, PaperKind};
use scenes::seed::{normal, stream};
use scenes::spectra::{N, Spectrum, XYZ_TO_SRGB, apply, bump, illuminant, rise, spectrum};
use tintwell::colour::RgbSpace;
use tintwell::light::hue::{Hue, MOVED, depth, place};
use tintwell::light::metamerism::{Changes, Near, Population};

/// Seeds of the worlds that give the common changes, of those that give what dyes are missed by, and of those of the check.
const COMMON: std::ops::Range<u64> = 0..1000;
const MISSED: std::ops::Range<u64> = 1000..1500;
const CHECK: std::ops::Range<u64> = 5000..5300;
/// Colours of the table, and common changes.
const PLACES: usize = 48;
const CHANGES: usize = 12;
/// Inks and dyes of a world, and as many inks as a card has.
const INKS: usize = 50;
const DYES: usize = 90;
const CARD: usize = 26;
/// Ridge of a world's mean moves at the places: a place with one ink or dye near it is drawn to nothing by this share.
const RIDGE: f64 = 0.02;
/// Degrees of freedom of the t-distribution whose scatter is taken: those of a reading's likelihood.
const NU: f64 = 8.0;

/// One change of lamp, camera or both, and what it does: natural logs of relative light, seen and in the session.
struct World {
    inks: Vec<(Vector3<f64>, Vector3<f64>)>,
    dyes: Vec<(Vector3<f64>, Vector3<f64>)>,
}

struct Camera {
    sensitivity: [Spectrum; 3],
    matrices: [[[f64; 3]; 3]; 2],
    saturation: f64,
    toe: f64,
}

/// Power by wavelength: incandescent, day, fluorescent, a blue diode with phosphors, three diodes; through a room that tints it.
fn lamp(rng: &mut ChaCha8Rng) -> Spectrum {
    let mut u = |a: f64, b: f64| rng.random_range(a..b);
    let kind = u(0.0, 5.0) as usize;
    let mut light = match kind {
        0 => {
            let kelvin = u(2200.0, 4000.0);
            spectrum(|w| w.powi(-5) / ((1.4388e7 / (w * kelvin)).exp() - 1.0))
        }
        1 => {
            let days = ["D50", "D55", "D65", "D75"];
            let [a, b] = [0, 1].map(|_| illuminant(days[u(0.0, 4.0) as usize]));
            let share = u(0.0, 1.0);
            std::array::from_fn(|i| a[i] * share + b[i] * (1.0 - share))
        }
        2 => illuminant(&format!("FL{}", u(1.0, 13.0) as usize)),
        3 => {
            let (pump, phosphor, red) = (
                (u(0.3, 1.6), u(440.0, 465.0), u(8.0, 13.0)),
                (1.0, u(545.0, 600.0), u(42.0, 62.0)),
                (u(0.0, 0.8), u(610.0, 650.0), u(12.0, 40.0)),
            );
            spectrum(|w| {
                [pump, phosphor, red]
                    .iter()
                    .map(|b| b.0 * bump(w, b.1, b.2))
                    .sum()
            })
        }
        _ => {
            let bands = [
                (u(0.3, 1.2), u(415.0, 470.0), u(8.0, 14.0)),
                (u(0.5, 1.2), u(500.0, 555.0), u(18.0, 45.0)),
                (u(0.4, 1.2), u(590.0, 640.0), u(10.0, 45.0)),
            ];
            spectrum(|w| bands.iter().map(|b| b.0 * bump(w, b.1, b.2)).sum())
        }
    };
    let turn = u(0.0, std::f64::consts::TAU);
    let mix = u(0.0, 1.0) < 0.2;
    let (slope, wave) = (0.1 * normal(rng), 0.06 * normal(rng));
    let room = spectrum(|w| {
        (slope * (w - 550.0) / 150.0
            + wave * ((w - 380.0) / 350.0 * std::f64::consts::TAU + turn).cos())
        .exp()
    });
    let top = light.iter().copied().fold(0.0, f64::max);
    for (l, r) in light.iter_mut().zip(room) {
        *l *= r / top;
    }
    if mix {
        let (other, share) = (lamp(rng), rng.random_range(0.1..0.7));
        for (l, o) in light.iter_mut().zip(other) {
            *l += share * o;
        }
    }
    light
}

/// Sensors with colour filters under an infrared cut; those whose colours could be parted only with gains above 3 are drawn again.
fn camera(rng: &mut ChaCha8Rng) -> Camera {
    loop {
        let mut u = |a: f64, b: f64| rng.random_range(a..b);
        let mut band = |share: f64, centre: (f64, f64), width: (f64, f64)| {
            (u(0.0, share), u(centre.0, centre.1), u(width.0, width.1))
        };
        let channels = [
            [
                band(0.0001, (588.0, 618.0), (24.0, 40.0)),
                band(0.12, (430.0, 470.0), (15.0, 30.0)),
                band(0.2, (530.0, 560.0), (20.0, 35.0)),
            ],
            [
                band(0.0001, (522.0, 548.0), (28.0, 45.0)),
                band(0.1, (590.0, 640.0), (20.0, 40.0)),
                band(0.15, (440.0, 480.0), (15.0, 30.0)),
            ],
            [
                band(0.0001, (445.0, 475.0), (20.0, 34.0)),
                band(0.12, (510.0, 550.0), (20.0, 35.0)),
                (0.0, 550.0, 30.0),
            ],
        ];
        let (red, violet) = (u(640.0, 695.0), u(390.0, 420.0));
        let mut sensitivity = channels.map(|[main, a, b]| {
            spectrum(|w| {
                (bump(w, main.1, main.2) + a.0 * bump(w, a.1, a.2) + b.0 * bump(w, b.1, b.2))
                    * rise(-w, -red, 6.0)
                    * rise(w, violet, 5.0)
            })
        });
        let green: f64 = sensitivity[1].iter().sum();
        sensitivity.iter_mut().flatten().for_each(|v| *v /= green);
        let matrices = ["D65", "A"].map(|l| fit_matrix(&sensitivity, &illuminant(l), &XYZ_TO_SRGB));
        if matrices
            .as_flattened()
            .as_flattened()
            .iter()
            .all(|m| m.abs() <= 3.0)
        {
            return Camera {
                sensitivity,
                matrices,
                saturation: u(1.0, 1.25),
                toe: u(0.004, 0.03),
            };
        }
    }
}

/// Inks of a printer, laid down in random amounts: transmittance over the paper and back.
fn inks(rng: &mut ChaCha8Rng) -> Vec<Spectrum> {
    let slope = 0.0006 * normal(rng);
    let mut u = |a: f64, b: f64| rng.random_range(a..b);
    let bands = [
        vec![
            (1.0, u(605.0, 640.0), u(32.0, 52.0)),
            (u(0.0, 0.9), u(670.0, 695.0), 38.0),
            (u(0.08, 0.25), u(405.0, 445.0), 50.0),
            (u(0.0, 0.15), 560.0, 40.0),
        ],
        vec![
            (1.0, u(540.0, 568.0), u(20.0, 34.0)),
            (u(0.3, 0.9), u(508.0, 532.0), u(22.0, 28.0)),
            (u(0.15, 0.32), u(415.0, 445.0), u(38.0, 52.0)),
        ],
        vec![
            (1.0, u(422.0, 446.0), u(35.0, 48.0)),
            (u(0.08, 0.28), u(485.0, 503.0), u(15.0, 26.0)),
            (u(0.01, 0.06), 605.0, 70.0),
        ],
    ];
    let mut density: Vec<Spectrum> = bands.iter().map(|b| absorbance(b)).collect();
    density.push(spectrum(|w| 1.0 + slope * (w - 550.0)));
    let surface = u(0.006, 0.02);
    (0..INKS)
        .map(|_| {
            let mut amounts = [0.0; 4];
            while amounts.iter().sum::<f64>() < 0.1 {
                for (k, amount) in amounts.iter_mut().enumerate() {
                    let (none, most) = if k < 3 { (0.35, 1.1) } else { (0.6, 0.9) };
                    *amount = if u(0.0, 1.0) < none {
                        0.0
                    } else {
                        u(0.0, most)
                    };
                }
            }
            std::array::from_fn(|i| {
                let d: f64 = amounts.iter().zip(&density).map(|(a, d)| a * d[i]).sum();
                surface + (1.0 - surface) * 10f64.powf(-d.min(2.0))
            })
        })
        .collect()
}

/// A sum of bands, scaled to 1 at its highest point.
fn absorbance(bands: &[(f64, f64, f64)]) -> Spectrum {
    let sum = spectrum(|w| bands.iter().map(|b| b.0 * bump(w, b.1, b.2)).sum());
    let top = sum.iter().copied().fold(0.0, f64::max);
    sum.map(|v| v / top)
}

/// Transmittance of a dissolved dye: a band 60 to 130 nm wide at half its height with a shoulder to the violet and a weak second
/// one; three of ten beside a yellow reagent.
fn dye(rng: &mut ChaCha8Rng) -> Spectrum {
    let mut u = |a: f64, b: f64| rng.random_range(a..b);
    let centre = u(400.0, 680.0);
    let shape = absorbance(&[
        (1.0, centre, u(25.0, 55.0)),
        (u(0.0, 0.6), centre - u(20.0, 60.0), u(25.0, 50.0)),
        (u(0.0, 0.15), u(400.0, 680.0), u(25.0, 60.0)),
    ]);
    let reagent = (u(0.3, 0.7), u(400.0, 460.0), u(25.0, 45.0));
    let reagent = if u(0.0, 1.0) < 0.3 {
        spectrum(|w| reagent.0 * bump(w, reagent.1, reagent.2))
    } else {
        [0.0; N]
    };
    let amount = u(0.05, 1.1) * u(0.3, 1.0);
    std::array::from_fn(|i| 10f64.powf(-1.25 * (amount * shape[i] + reagent[i])))
}

/// What a camera makes of reflectances over paper: natural log of linear BT.2020 light relative to paper.
fn seen(camera: &Camera, light: &Spectrum, paper: &Paper, over: &[Spectrum]) -> Vec<Vector3<f64>> {
    let paper = paper.under(light);
    let lit: Spectrum = std::array::from_fn(|i| light[i] * paper[i]);
    let white = raw(&camera.sensitivity, &lit, &[1.0; N]);
    let matrix = matrix_under(&camera.matrices, light);
    let to_working = RgbSpace::Bt2020.from_xyz() * RgbSpace::Srgb.to_xyz();
    over.iter()
        .map(|r| {
            let r = raw(&camera.sensitivity, &lit, r);
            let rgb = apply(&matrix, std::array::from_fn(|c| r[c] / white[c]));
            let grey = 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
            let rgb = rgb.map(|v| grey + camera.saturation * (v - grey)).map(|v| {
                if v > camera.toe {
                    v
                } else {
                    camera.toe * (v / camera.toe - 1.0).exp()
                }
            });
            (to_working * Vector3::from(rgb)).map(|v| v.max(0.002).ln())
        })
        .collect()
}

impl World {
    /// Another lamp in four of ten, another camera in four of ten, both in the others.
    fn drawn(seed: u64) -> World {
        let mut rng = stream(seed, 900);
        let what: f64 = rng.random_range(0.0..1.0);
        let (session, light) = (camera(&mut rng), lamp(&mut rng));
        let other = (what > 0.4).then(|| camera(&mut rng));
        let other_light = if (0.4..0.8).contains(&what) {
            light
        } else {
            lamp(&mut rng)
        };
        let kinds = [
            PaperKind::Bright,
            PaperKind::Bright,
            PaperKind::Cream,
            PaperKind::Recycled,
        ];
        let paper = Paper::new(kinds[rng.random_range(0..kinds.len())], &mut rng);
        let inks = inks(&mut rng);
        let dyes: Vec<Spectrum> = (0..DYES).map(|_| dye(&mut rng)).collect();
        let both = |over: &[Spectrum]| {
            seen(
                other.as_ref().unwrap_or(&session),
                &other_light,
                &paper,
                over,
            )
            .into_iter()
            .zip(seen(&session, &light, &paper, over))
            .collect()
        };
        World {
            inks: both(&inks),
            dyes: both(&dyes),
        }
    }

    /// As many inks as a card has, with the noise that a patch has in a photo.
    fn card(&self, seed: u64) -> Vec<(Vector3<f64>, Vector3<f64>)> {
        let mut rng = stream(seed, 901);
        let mut noisy = |v: Vector3<f64>| v.map(|v| v + 0.004 * normal(&mut rng));
        self.inks[..CARD]
            .iter()
            .map(|(a, b)| (noisy(*a), noisy(*b)))
            .collect()
    }
}

fn worlds(seeds: std::ops::Range<u64>) -> Vec<World> {
    seeds.into_par_iter().map(World::drawn).collect()
}

fn per_depth((seen, session): &(Vector3<f64>, Vector3<f64>)) -> Vector3<f64> {
    (session - seen) / depth(seen)
}

/// Colours far from each other among those of the worlds, the loneliest fiftieth left out.
fn places(worlds: &[World]) -> Vec<Vector3<f64>> {
    let apart = |a: &Vector3<f64>, b: &Vector3<f64>| (place(a) - place(b)).norm_squared();
    let all: Vec<Vector3<f64>> = worlds
        .iter()
        .flat_map(|w| w.inks.iter().chain(&w.dyes))
        .map(|p| p.0)
        .collect();
    let some: Vec<Vector3<f64>> = all.iter().step_by(all.len() / 4000).copied().collect();
    let mut crowd: Vec<(f64, Vector3<f64>)> = some
        .par_iter()
        .map(|a| (some.iter().map(|b| (-apart(a, b)).exp()).sum(), *a))
        .collect();
    crowd.sort_by(|a, b| b.0.total_cmp(&a.0));
    crowd.truncate(crowd.len() * 49 / 50);
    let mut chosen = vec![crowd[0].1];
    while chosen.len() < PLACES {
        let lonely = |v: &Vector3<f64>| {
            chosen
                .iter()
                .map(|c| apart(c, v))
                .fold(f64::INFINITY, f64::min)
        };
        let next = crowd
            .par_iter()
            .map(|c| (lonely(&c.1), c.1))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .expect("colours");
        chosen.push(next.1);
    }
    chosen
}

fn upper(m: &Matrix3<f64>) -> [f64; 6] {
    [
        m[(0, 0)],
        m[(0, 1)],
        m[(0, 2)],
        m[(1, 1)],
        m[(1, 2)],
        m[(2, 2)],
    ]
    .map(rounded)
}

/// Three significant digits.
fn rounded(v: f64) -> f64 {
    format!("{v:.2e}").parse().expect("a number")
}

/// Scatter of `off` about each place.
fn scatter(shares: &[Vec<f64>], off: &[Vector3<f64>], nu: Option<f64>) -> Vec<Matrix3<f64>> {
    let mut weights = vec![1.0; off.len()];
    let mut scatter = vec![Matrix3::identity(); PLACES];
    // Iteratively reweighted: the maximum of the t-likelihood (Lange, Little & Taylor 1989).
    for _ in 0..if nu.is_some() { 8 } else { 1 } {
        scatter = (0..PLACES)
            .into_par_iter()
            .map(|p| {
                let all: f64 = shares.iter().map(|s| s[p]).sum();
                let sum: Matrix3<f64> = off
                    .iter()
                    .zip(shares)
                    .zip(&weights)
                    .map(|((o, s), w)| o * o.transpose() * (s[p] * w))
                    .sum();
                sum / all
            })
            .collect();
        if let Some(nu) = nu {
            for ((weight, o), s) in weights.iter_mut().zip(off).zip(shares) {
                let here: Matrix3<f64> = scatter.iter().zip(s).map(|(m, s)| m * *s).sum();
                let far = here.cholesky().map_or(0.0, |c| o.dot(&c.solve(o)));
                *weight = (nu + 3.0) / (nu + far);
            }
        }
    }
    scatter
}

fn made() -> Population {
    let common = worlds(COMMON);
    let nothing = |ln: Vector3<f64>| Near {
        ln: ln.map(|v| (1000.0 * v).round() / 1000.0).into(),
        inks: vec![[0.0; 3]; CHANGES],
        dyes: vec![[0.0; 3]; CHANGES],
        inks_own: [0.0; 6],
        dyes_missed: [0.0; 6],
    };
    let mut population = Population {
        places: places(&common).into_iter().map(nothing).collect(),
    };
    let shares = |of: &[(Vector3<f64>, Vector3<f64>)]| -> Vec<Vec<f64>> {
        of.iter().map(|p| population.shares(&p.0)).collect()
    };
    // A world's mean moves at the places, inks then dyes.
    let means: Vec<Vec<f64>> = common
        .par_iter()
        .map(|world| {
            [&world.inks, &world.dyes]
                .into_iter()
                .flat_map(|of| {
                    let w = shares(of);
                    let w = DMatrix::from_fn(of.len(), PLACES, |i, p| w[i][p]);
                    let y = DMatrix::from_fn(of.len(), 3, |i, c| per_depth(&of[i])[c]);
                    let normal = w.transpose() * &w + DMatrix::identity(PLACES, PLACES) * RIDGE;
                    let mean = normal
                        .cholesky()
                        .expect("a ridge")
                        .solve(&(w.transpose() * y));
                    (0..PLACES * 3)
                        .map(|k| mean[(k / 3, k % 3)])
                        .collect::<Vec<_>>()
                })
                .collect()
        })
        .collect();
    let means = DMatrix::from_fn(means.len(), 6 * PLACES, |w, k| means[w][k]);
    let parts = (means.transpose() * &means / means.nrows() as f64).symmetric_eigen();
    let mut order: Vec<usize> = (0..parts.eigenvalues.len()).collect();
    order.sort_by(|a, b| parts.eigenvalues[*b].total_cmp(&parts.eigenvalues[*a]));
    let mut amounts = DMatrix::zeros(means.nrows(), CHANGES);
    for (m, k) in order.into_iter().take(CHANGES).enumerate() {
        let size = parts.eigenvalues[k].sqrt();
        let change = parts.eigenvectors.column(k) * size;
        amounts.set_column(m, &(&means * &change / (size * size)));
        for (p, near) in population.places.iter_mut().enumerate() {
            near.inks[m] = std::array::from_fn(|c| rounded(change[3 * p + c]));
            near.dyes[m] = std::array::from_fn(|c| rounded(change[3 * (PLACES + p) + c]));
        }
    }
    let (mut at, mut off) = (Vec::new(), Vec::new());
    for (w, world) in common.iter().enumerate() {
        for ink in &world.inks {
            let s = population.shares(&ink.0);
            let mut rest = per_depth(ink);
            for (near, share) in population.places.iter().zip(&s) {
                for (m, moved) in near.inks.iter().enumerate() {
                    rest -= Vector3::from(*moved) * (share * amounts[(w, m)]);
                }
            }
            at.push(s);
            off.push(rest);
        }
    }
    for (near, own) in population.places.iter_mut().zip(scatter(&at, &off, None)) {
        near.inks_own = upper(&own);
    }
    // What dyes are missed by is counted with the very code that readings use.
    let trial: &'static Population = Box::leak(Box::new(population.clone()));
    let missed = missed(trial, MISSED);
    let (at, off): (Vec<_>, Vec<_>) = missed
        .iter()
        .map(|m| (population.shares(&m.seen), m.off / m.unrest.sqrt()))
        .unzip();
    for (near, m) in population
        .places
        .iter_mut()
        .zip(scatter(&at, &off, Some(NU)))
    {
        near.dyes_missed = upper(&m);
    }
    population
}

/// What a dye is missed by, per depth.
struct Missed {
    seen: Vector3<f64>,
    off: Vector3<f64>,
    /// The same when it is not moved at all.
    unmoved: Vector3<f64>,
    unrest: f64,
    /// The same with each of [`PARTS`].
    with_parts: [f64; PARTS.len()],
}

/// Parts of how far inks are moved that are tried in place of [`MOVED`].
const PARTS: [f64; 6] = [0.0, 0.5 * MOVED, MOVED, 2.0 * MOVED, 4.0 * MOVED, 1e3];

fn missed(population: &'static Population, seeds: std::ops::Range<u64>) -> Vec<Missed> {
    seeds
        .into_par_iter()
        .flat_map_iter(|seed| {
            let world = World::drawn(seed);
            let card = world.card(seed);
            let hue = Hue::fit(&card).expect("enough inks");
            let changes = Changes::of(population, &card).expect("inks");
            let dyes = world.dyes.into_iter().take(DYES / 2);
            dyes.map(move |(seen, session)| {
                let off = |moved: Vector3<f64>| (session - seen - moved) / depth(&seen);
                Missed {
                    seen,
                    off: off(changes.moved(&seen)),
                    unmoved: off(Vector3::zeros()),
                    unrest: hue.unrest(),
                    with_parts: PARTS.map(|part| hue.unrest_with(part)),
                }
            })
            .collect::<Vec<_>>()
        })
        .collect()
}

/// Says how far dyes are missed in depth, with the weights that the table gives: over a range, and how often within two standard
/// deviations.
fn check() {
    let population = Population::shipped();
    let missed = missed(population, CHECK);
    let column = |name: &str, off: &dyn Fn(&Missed) -> Vector3<f64>| {
        let mut z = Vec::new();
        let mut error = Vec::new();
        for m in &missed {
            let variance = population.dyes_missed(&m.seen) * m.unrest;
            let weight = variance.cholesky().expect("a covariance").solve(&m.seen);
            let information = weight.dot(&m.seen);
            let e = weight.dot(&off(m)) * depth(&m.seen) / information;
            error.push(e.abs());
            z.push(e.abs() * information.sqrt() / depth(&m.seen));
        }
        error.sort_by(f64::total_cmp);
        let share = z.iter().filter(|z| **z < 2.0).count() as f64 / z.len() as f64;
        let at = |q: f64| error[(q * error.len() as f64) as usize];
        println!(
            "{name:24} depth missed by: half {:.3}, nine of ten {:.3}; within two standard deviations {:.3}",
            at(0.5),
            at(0.9),
            share
        );
    };
    column("not moved", &|m| m.unmoved);
    column("by the population", &|m| m.off);
    let likely: [f64; PARTS.len()] =
        std::array::from_fn(|k| likelihood(population, &missed, &|m| m.with_parts[k]));
    let best = likely.into_iter().fold(f64::NEG_INFINITY, f64::max);
    for (part, likely) in PARTS.iter().zip(likely) {
        println!(
            "MOVED {part:6.2}: ln likelihood under the best {:6.1}",
            best - likely
        );
    }
}

/// Natural log of the likelihood of what dyes were missed by (Student's t with [`NU`] degrees of freedom, covariances of the
/// population times an unrest), at the scale that makes it greatest; dyes of one world count as one.
fn likelihood(population: &Population, missed: &[Missed], unrest: &dyn Fn(&Missed) -> f64) -> f64 {
    let seen: Vec<(f64, f64)> = missed
        .iter()
        .map(|m| {
            let variance = population.dyes_missed(&m.seen) * unrest(m);
            let inverse = variance.try_inverse().expect("a covariance");
            (m.off.dot(&(inverse * m.off)), -inverse.determinant().ln())
        })
        .collect();
    (-40..=40)
        .map(|k| (f64::from(k) / 10.0).exp())
        .map(|scale| {
            seen.iter()
                .map(|(d2, ln_det)| {
                    -0.5 * (ln_det + 3.0 * scale.ln())
                        - 0.5 * (NU + 3.0) * (d2 / scale / NU).ln_1p()
                })
                .sum::<f64>()
                / (DYES / 2) as f64
        })
        .fold(f64::NEG_INFINITY, f64::max)
}

fn main() {
    match std::env::args().nth(1).as_deref() {
        Some("write") => {
            let lines: Vec<String> = made()
                .places
                .iter()
                .map(|p| serde_json::to_string(p).expect("numbers"))
                .collect();
            let text = format!("{{\"places\": [\n{}\n]}}\n", lines.join(",\n"));
            std::fs::write("calibration/metamerism.json", text).expect("a writable folder");
        }
        Some("check") => check(),
        _ => eprintln!("write or check?"),
    }
}
