//! Pictures that are drawn rather than photographed: the printed face cut out at its foot, upright on a table of one loud colour, and
//! a vial painted flat before it.
//!
//! Synthetic-known: no lamp, no lens, no glass, so nothing is like the scenes of `tests/scenes`, and what they have in common with
//! each other (a white flap under the card, water that refracts) must not be what a reading hangs on.

#[path = "scenes/srgb.rs"]
mod srgb;

use std::io::Cursor;
use std::sync::LazyLock;

use image::{DynamicImage, ImageFormat, Rgb, Rgb32FImage, RgbImage};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tintwell::card::design::Design;
use tintwell::card::draw::face_image;
use tintwell::chart::calibrate::{Standard, build};
use tintwell::chart::{Chart, Origin, file};
use tintwell::flag::{Flag, Severity, Verdict};
use tintwell::look::Where;
use tintwell::photo::{Limits, Photo, decode};
use tintwell::reading::{Answer, Reading, Told, read};

/// Pixels to a millimetre, and the table around the face, mm.
const SCALE: f64 = 7.0;
const AROUND: f64 = 18.0;
/// Standards, mg/L, and what the samples hold.
const VALUES: [f64; 5] = [0.0, 5.0, 10.0, 20.0, 40.0];
const TRUTH: f64 = 12.0;

static DESIGN: LazyLock<Design> = LazyLock::new(|| Design::by_id("side-1").expect("the design"));

static FACE: LazyLock<RgbImage> = LazyLock::new(|| face_image(&DESIGN, SCALE).expect("a face"));

/// A picture: what is in it, and what is done to it.
#[derive(Clone)]
struct Drawn {
    concentration: f64,
    /// How many times deeper the lower half of the liquid is.
    lower: f64,
    /// Share of the light that is scattered by the liquid rather than let through.
    scattered: f64,
    /// Width of the vial, mm.
    wide: f64,
    /// How far to its right another such vial stands, with twice as much in its liquid, mm from axis to axis.
    another: Option<f64>,
    /// Up to how high over its foot the vial is full, mm; from 50 on stands the cap.
    full: f64,
    cap: [f64; 3],
    /// Whether the glass carries dark print, more of it left of the axis, over the middle of the liquid.
    printed: bool,
    /// Whether the card shows its faint lines.
    lined: bool,
    /// Light of a place of the picture, x and y in mm of the face.
    light: fn(f64, f64) -> f64,
    seed: u64,
}

impl Default for Drawn {
    fn default() -> Drawn {
        Drawn {
            concentration: TRUTH,
            lower: 1.0,
            scattered: 0.0,
            wide: 20.0,
            another: None,
            full: 40.0,
            cap: [0.1, 0.1, 0.12],
            printed: false,
            lined: true,
            light: |_, _| 0.7,
            seed: 1,
        }
    }
}

/// Light that comes through the liquid per channel: a pink dye that is used up at high concentrations.
fn through(concentration: f64) -> [f64; 3] {
    let depth = 1.6 * concentration / (concentration + 25.0);
    [0.08, 1.0, 0.5].map(|share| (-share * depth).exp())
}

/// Whether the print on a vial covers a place, mm to the right of its axis and over its foot: cells of half a millimetre, every other
/// one or so.
fn print(right: f64, up: f64) -> bool {
    let (i, j) = ((2.0 * right).floor() as i64, (2.0 * up).floor() as i64);
    (-12..3).contains(&i) && (38..50).contains(&j) && (i * i + 3 * i * j + 5 * j * j) % 7 < 3
}

impl Drawn {
    /// The face's light per channel, at a place in mm; the table beyond it.
    fn card(&self, x: f64, y: f64) -> [f64; 3] {
        let (i, j) = ((x * SCALE) as i64, (y * SCALE) as i64);
        let on = (0..i64::from(FACE.width())).contains(&i)
            && (0..i64::from(FACE.height())).contains(&j)
            && x >= 0.0
            && y >= 0.0;
        if !on {
            return [0.0, 0.55, 0.25];
        }
        let line = DESIGN
            .lines
            .iter()
            .any(|l| (l.x..l.x + l.w).contains(&x) && (l.y - 0.2..l.y + l.h + 0.2).contains(&y));
        if line && !self.lined {
            return [1.0; 3];
        }
        FACE.get_pixel(i as u32, j as u32)
            .0
            .map(|code| srgb::decode(f64::from(code) / 255.0))
    }

    /// What stands before it: a cap over empty glass, a surface, liquid between darker walls, and a dark base.
    fn seen(&self, x: f64, y: f64) -> [f64; 3] {
        let behind = self.card(x, y);
        let (foot, tall) = (DESIGN.height_mm - 1.0, 58.0);
        let right = x - DESIGN.width_mm / 2.0;
        let (from_axis, concentration) = match self.another {
            Some(apart) if right > apart / 2.0 => ((right - apart).abs(), 2.0 * self.concentration),
            _ => (right.abs(), self.concentration),
        };
        let up = foot - y;
        if from_axis > self.wide / 2.0 || !(0.0..tall).contains(&up) {
            return behind;
        }
        let wall = if from_axis > self.wide / 2.0 - 1.0 {
            0.7
        } else {
            1.0
        };
        let share = match up {
            up if up > 50.0 => return self.cap,
            up if up > self.full => [0.92; 3],
            up if up > self.full - 0.6 => [0.55; 3],
            up => {
                let base = if up < 2.0 { 0.65 } else { 1.0 };
                let deeper = if up < 20.0 { self.lower } else { 1.0 };
                let clear = through(concentration * deeper);
                clear.map(|t| base * 0.9 * t)
            }
        };
        let haze = if up < self.full - 0.6 {
            self.scattered
        } else {
            0.0
        };
        let scattered = 0.55 * haze * wall;
        let ink = if self.printed && print(right, up) {
            0.15
        } else {
            1.0
        };
        [0, 1, 2].map(|c| (behind[c] * share[c] * wall * (1.0 - haze) + scattered) * ink)
    }

    fn photo(&self) -> Photo {
        let side = |mm: f64| ((mm + 2.0 * AROUND) * SCALE) as u32;
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let sharp = Rgb32FImage::from_fn(side(DESIGN.width_mm), side(DESIGN.height_mm), |i, j| {
            let [x, y] = [i, j].map(|k| (f64::from(k) + 0.5) / SCALE - AROUND);
            Rgb(self.seen(x, y).map(|v| (v * (self.light)(x, y)) as f32))
        });
        let mut soft = DynamicImage::from(sharp).fast_blur(1.0).into_rgb32f();
        for pixel in soft.pixels_mut() {
            for v in &mut pixel.0 {
                *v += 0.004 * rng.random_range(-1.0..1.0);
            }
        }
        let picture = RgbImage::from_fn(soft.width(), soft.height(), |i, j| {
            let light = soft.get_pixel(i, j).0;
            Rgb(light.map(|v| (255.0 * srgb::encode(f64::from(v.clamp(0.0, 1.0)))).round() as u8))
        });
        let mut png = Cursor::new(Vec::new());
        picture
            .write_to(&mut png, ImageFormat::Png)
            .expect("a picture");
        decode(png.get_ref(), &Limits::default()).expect("a photo")
    }

    fn read(&self, chart: &Chart) -> (Reading, Vec<Flag>) {
        let (checked, _) =
            read(&self.photo(), &by_card(), chart, &Told::default()).expect("a reading");
        (checked.value, checked.flags)
    }
}

fn by_card() -> Where {
    Where::Card(Design::all())
}

/// A chart of vials that are drawn like the sample.
fn chart(like: &Drawn) -> Chart {
    let shipped = file::parse(include_str!("../calibration/alder-creek-nitrate.json"))
        .expect("the shipped chart");
    let standards: Vec<Standard> = VALUES
        .iter()
        .flat_map(|value| [100, 200].map(|seed| (*value, seed)))
        .map(|(concentration, seed)| {
            let photo = Drawn {
                concentration,
                seed: seed + concentration as u64,
                ..like.clone()
            }
            .photo();
            let name = format!("{concentration}-{seed}.png");
            Standard::new(concentration, name, &photo, &by_card()).expect("a sight")
        })
        .collect();
    let chart = build(shipped.terms, Origin::Standards, &standards).expect("a chart");
    assert!(chart.doubt().is_none(), "{:?}", chart.found);
    chart
}

static CHART: LazyLock<Chart> = LazyLock::new(|| chart(&Drawn::default()));

fn severity(flags: &[Flag], code: &str) -> Option<Severity> {
    flags.iter().find(|f| f.code == code).map(|f| f.severity)
}

/// The table under the foot of the card is no liquid, whatever its colour, nor is a dark base.
#[test]
fn a_card_without_its_flap_on_a_loud_table() {
    let (reading, flags) = Drawn::default().read(&CHART);
    assert_eq!(reading.verdict, Verdict::Trusted, "{flags:?}");
    let Answer::Value { value, low, high } = reading.answer else {
        panic!("{:?}", reading.answer);
    };
    assert!((low..high).contains(&TRUTH), "{low} to {high}");
    assert!((value / TRUTH).ln().abs() < 0.05, "{value}");
}

/// The lower half of a liquid is more than twice as deep as the upper.
#[test]
fn two_layers_are_no_liquid_under_glass() {
    let layers = Drawn {
        lower: 2.2,
        ..Drawn::default()
    };
    let (_, flags) = layers.read(&CHART);
    assert_eq!(
        severity(&flags, "uneven-liquid"),
        Some(Severity::Doubt),
        "{flags:?}"
    );
}

/// A card whose lines were not printed cannot tell a cloudy liquid by them; the colours of the chart can.
#[test]
fn without_lines_a_cloudy_liquid_is_beside_the_chart() {
    let plain = Drawn {
        lined: false,
        ..Drawn::default()
    };
    let chart = chart(&plain);
    let of = |scattered: f64| {
        let (reading, flags) = Drawn {
            scattered,
            ..plain.clone()
        }
        .read(&chart);
        (reading.verdict, severity(&flags, "colour-beside-chart"))
    };
    assert_eq!(of(0.0), (Verdict::Trusted, None));
    assert_eq!(of(0.35), (Verdict::Doubtful, Some(Severity::Doubt)));
}

/// Which of two vials was meant is not known; that one of them is another is told whether they stand apart or nearly touch.
#[test]
fn two_vials_are_told_from_one() {
    let narrow = Drawn {
        wide: 14.0,
        ..Drawn::default()
    };
    let chart = chart(&narrow);
    let of = |another| {
        Drawn {
            another,
            ..narrow.clone()
        }
        .read(&chart)
    };
    let (alone, flags) = of(None);
    assert_eq!(alone.verdict, Verdict::Trusted, "{flags:?}");
    let (_, flags) = of(Some(20.0));
    assert_eq!(
        severity(&flags, "not-alone"),
        Some(Severity::Doubt),
        "{flags:?}"
    );
    let (near, flags) = of(Some(15.0));
    assert_eq!(near.verdict, Verdict::Doubtful, "{flags:?}");
}

/// Paper over-exposed at one end of the card is told; by the vial it is doubted.
#[test]
fn paper_over_exposed_far_from_the_vial_is_a_note() {
    let of = |light| {
        let (_, flags) = Drawn {
            light,
            ..Drawn::default()
        }
        .read(&CHART);
        severity(&flags, "white-over-exposed")
    };
    assert_eq!(of(|_, _| 0.7), None);
    assert_eq!(of(|x, _| 0.45 + 0.0039 * x), Some(Severity::Note));
    let beside = |x, _| if (55.0..70.0).contains(&x) { 1.1 } else { 0.7 };
    assert_eq!(of(beside), Some(Severity::Doubt));
}

/// A shadow whose edge runs across the card beside a narrow vial, which stands far from the paper that tells of it.
#[test]
fn a_shadow_across_the_card_is_told_beside_a_narrow_vial() {
    let narrow = Drawn {
        wide: 12.0,
        ..Drawn::default()
    };
    let chart = chart(&narrow);
    let of = |light| {
        let (_, flags) = Drawn {
            light,
            ..narrow.clone()
        }
        .read(&chart);
        severity(&flags, "shadow-edge")
    };
    assert_eq!(of(|_, _| 0.7), None);
    let shadow = |_, y| if y > 78.0 { 0.35 } else { 0.7 };
    assert_eq!(of(shadow), Some(Severity::Doubt));
    // Little of the card lies in one over its foot.
    let foot = |_, y| if y > 99.0 { 0.38 } else { 0.7 };
    assert_eq!(of(foot), Some(Severity::Doubt));
    let at_the_foot = |_, y| if y > 108.0 { 0.45 } else { 0.7 };
    assert_eq!(of(at_the_foot), Some(Severity::Doubt));
    let corner = |x, y| if x < 50.0 && y > 99.0 { 0.38 } else { 0.7 };
    assert_eq!(of(corner), None);
}

/// A lamp mirrored by most of the vial leaves an even stretch under itself.
#[test]
fn a_reflection_over_most_of_the_liquid_is_no_cap() {
    let of = |light| {
        let (_, flags) = Drawn {
            light,
            ..Drawn::default()
        }
        .read(&CHART);
        severity(&flags, "glare")
    };
    assert_eq!(of(|_, _| 0.7), None);
    let lamp = |x: f64, y: f64| {
        if (x - 90.0).abs() < 8.0 && (84.0..106.0).contains(&y) {
            3.0
        } else {
            0.7
        }
    };
    assert_eq!(of(lamp), Some(Severity::Doubt));
    let narrow = |x: f64, y: f64| {
        if (x - 93.0).abs() < 1.0 && (84.0..120.0).contains(&y) {
            3.0
        } else {
            0.7
        }
    };
    assert_eq!(of(narrow), None);
}

/// The cap of a vial that is full may be so vivid that its red is clipped.
#[test]
fn a_vivid_cap_is_no_reflection() {
    let (_, flags) = Drawn {
        concentration: 0.0,
        full: 50.0,
        cap: [1.6, 0.05, 0.15],
        ..Drawn::default()
    }
    .read(&CHART);
    assert_eq!(severity(&flags, "glare"), None, "{flags:?}");
}

/// Print on the glass covers some of the lines, and is no surface where two layers meet.
#[test]
fn print_on_the_glass_hides_no_doubt() {
    let printed = Drawn {
        printed: true,
        ..Drawn::default()
    };
    let chart = chart(&printed);
    let (reading, flags) = printed.read(&chart);
    assert_eq!(reading.verdict, Verdict::Trusted, "{flags:?}");
    let Answer::Value { low, high, .. } = reading.answer else {
        panic!("{:?}", reading.answer);
    };
    assert!(low < TRUTH && TRUTH < high, "{low} to {high}");
    let doubt = |of: Drawn, code| severity(&of.read(&chart).1, code);
    let cloudy = Drawn {
        scattered: 0.4,
        ..printed.clone()
    };
    assert_eq!(doubt(cloudy, "cloudy-liquid"), Some(Severity::Doubt));
    let layered = Drawn {
        lower: 2.2,
        ..printed
    };
    assert_eq!(doubt(layered, "uneven-liquid"), Some(Severity::Doubt));
}
