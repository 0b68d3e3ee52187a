//! Is the simulator right? It judges the reader, so it is checked against facts from outside: published white points, the
//! rainbow's angle, Fresnel's limits, Beer-Lambert's law, and readers of EXIF that are not ours.

#[path = "scenes/mod.rs"]
mod scenes;

use scenes::bake::{Bake, Zone};
use scenes::print::{Paper, PaperKind, Printer, PrinterKind};
use scenes::seed::stream;
use scenes::spectra::{N, XYZ_TO_SRGB, apply, illuminant, xyz};
use scenes::srgb;
use scenes::vial::{Inside, Vial, fresnel};
use scenes::{Layout, Scene, Series, Session, render};

fn card() -> Layout {
    Layout::from_json(include_str!("../calibration/card-side.json"))
}

fn tube(wall_mm: f64, index: f64) -> Vial {
    Vial {
        outer_mm: 20.0,
        wall_mm,
        height_mm: 50.0,
        base_mm: 2.0,
        index,
        wall_tint: [1.0; 3],
        cap: None,
    }
}

/// A small scene whose picture is free of noise, tone and accidents of the shot.
fn clean(series: Series, concentration: f64) -> Scene {
    let mut s = Session::new(11, series)
        .own(concentration, 3)
        .sized(800, 600);
    s.exposure.stops = 0.0;
    s.exposure.tint = [0.0; 2];
    s.exposure.adaptation = 1.0;
    s.exposure.motion = 0.0;
    s.phone.full_well = 1e12;
    s.phone.read_noise = 0.0;
    s.phone.tone = 0.0;
    s.phone.local_tone = 0.0;
    s.phone.saturation = 1.0;
    s.phone.sharpen = 0.0;
    s.phone.wide = false;
    s
}

/// Mean of a small square of the picture.
fn mean(rgb: &image::RgbImage, at: [f64; 2], half: i64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for dy in -half..=half {
        for dx in -half..=half {
            let p = rgb.get_pixel((at[0] as i64 + dx) as u32, (at[1] as i64 + dy) as u32);
            for (s, v) in sum.iter_mut().zip(p.0) {
                *s += f64::from(v);
            }
        }
    }
    sum.map(|v| v / ((2 * half + 1) * (2 * half + 1)) as f64)
}

/// The photo point of card millimetres by the published homography of the scene.
fn on_photo(h: &[[f64; 3]; 3], x: f64, y: f64) -> [f64; 2] {
    let v = apply(h, [x, y, 1.0]);
    [v[0] / v[2], v[1] / v[2]]
}

/// White points of the illuminants against ASTM E308 (fixtures/spectra/white_points_2deg.csv). The tables here end at 730 nm
/// and are not averaged over bands: 0.15 for the smooth sources, 0.6 for the fluorescent ones with their lines.
#[test]
fn illuminants_have_their_published_white_points() {
    let table = include_str!("../fixtures/spectra/white_points_2deg.csv");
    let mut seen = 0;
    for line in table.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (name, tolerance) = match cells[0] {
            "F2" => ("FL2", 0.6),
            "F7" => ("FL7", 0.6),
            "F11" => ("FL11", 0.6),
            "C" => continue,
            other => (other, 0.15),
        };
        let got = xyz(&illuminant(name), &[1.0; N]);
        for (c, cell) in cells[1..4].iter().enumerate() {
            let published: f64 = cell.parse().expect("a number");
            assert!(
                (100.0 * got[c] - published).abs() < tolerance,
                "{name} channel {c}: {} against {published}",
                100.0 * got[c]
            );
        }
        seen += 1;
    }
    assert_eq!(seen, 8);
}

/// D65 is the white of sRGB (IEC 61966-2-1).
#[test]
fn d65_is_white_in_srgb() {
    for v in apply(&XYZ_TO_SRGB, xyz(&illuminant("D65"), &[1.0; N])) {
        assert!((v - 1.0).abs() < 0.003, "{v}");
    }
}

/// Reflectance of glass of index 1.5 at right angles is 0.04 and at grazing incidence 1 (Fresnel; any optics text), and at
/// Brewster's angle only half of the perpendicular part is left: (cos^2 of twice the angle) / 2.
#[test]
fn fresnel_limits() {
    assert!((fresnel(1.0, 1.5, 1.0) - 0.04).abs() < 1e-12);
    assert!((fresnel(1.0, 1.5, 0.0) - 1.0).abs() < 1e-12);
    let brewster = 1.5f64.atan();
    assert!(
        (fresnel(1.0, 1.5, brewster.cos()) - 0.5 * (2.0 * brewster).cos().powi(2)).abs() < 1e-12
    );
}

/// The primary rainbow stands 42 degrees from the point opposite the sun: light reflected once inside water turns by at least
/// 138 degrees (Descartes 1637). A vial without a wall is a drop in two dimensions.
#[test]
fn a_column_of_water_makes_the_rainbow() {
    let drop = tube(0.0, 1.333);
    let least = (1..1000)
        .map(|i| {
            drop.pass(
                f64::from(i) / 1000.0 * drop.outer_radius(),
                0.0,
                Inside::Solid,
            )
            .echo_turn
            .to_degrees()
        })
        .fold(f64::INFINITY, f64::min);
    assert!((least - 138.0).abs() < 0.3, "{least}");
}

/// A thin cylindrical lens of water in a thin wall focuses paraxial light at n R / (2 (n - 1)) from its axis (ball and rod
/// lenses; any optics text): 2.0 R for n = 1.333.
#[test]
fn a_column_of_water_focuses_behind_itself() {
    let v = tube(1e-6, 1.5);
    let b = 0.05;
    let turn = v.pass(b, 0.0, Inside::Liquid).turn;
    let focus = b / turn.tan();
    let expected = 1.333 * v.outer_radius() / (2.0 * 0.333);
    assert!(
        (focus - expected).abs() < 0.02 * expected,
        "{focus} against {expected}"
    );
}

/// No surface makes light, and rays that rise go a longer way than level ones.
#[test]
fn passages_lose_light_and_lengthen() {
    let v = tube(1.0, 1.52);
    for i in 0..100 {
        let b = f64::from(i) / 100.0 * v.outer_radius();
        for k in [0.0, 0.3, 0.6] {
            for inside in [Inside::Air, Inside::Liquid, Inside::Solid] {
                let p = v.pass(b, k, inside);
                assert!(
                    p.let_through + p.reflected <= 1.0 + 1e-9 && p.let_through >= 0.0,
                    "{b} {k} {inside:?}"
                );
            }
        }
        let (level, rising) = (
            v.pass(b, 0.0, Inside::Liquid),
            v.pass(b, 0.5, Inside::Liquid),
        );
        if level.inside_mm > 0.0 {
            assert!(rising.inside_mm > level.inside_mm, "{b}");
        }
    }
}

/// A vial moves light about on the paper behind it, and takes some; it adds none.
#[test]
fn the_vial_adds_no_light_to_the_paper() {
    let card = card();
    for seed in 0..6 {
        let scene = Session::new(seed, Series::Pink).own(0.0, 1);
        let bake = Bake::new(&scene, &card, 0);
        let reach = 4.5 * scene.vial.as_ref().expect("a vial").outer_radius();
        for (zone, least) in [(Zone::Liquid, 0.6), (Zone::Glass, 0.6), (Zone::Cap, 0.3)] {
            let mean = (0..200)
                .map(|i| {
                    f64::from(bake.behind(zone, (f64::from(i) / 99.5 - 1.0) * reach, 0.0, 1.0)[1])
                })
                .sum::<f64>()
                / 200.0;
            assert!(mean < 1.005 && mean > least, "seed {seed} {zone:?}: {mean}");
        }
    }
}

/// Beer-Lambert: the dye's strongest step absorbs its stated peak across the vial; twice the way absorbs twice.
#[test]
fn dyes_absorb_in_proportion_to_the_way() {
    for series in Series::ALL {
        let session = Session::new(5, series);
        let dye = &session.dye;
        let top = dye.absorbance_per_mm(*series.steps().last().expect("steps"));
        let peak = (4..=64).map(|i| top[i] * dye.path_mm).fold(0.0, f64::max);
        assert!(
            peak > dye.peak - 1e-9 && peak < dye.peak + 0.6,
            "{}: {peak} for {}",
            series.name(),
            dye.peak
        );
        let scene = session.own(series.steps()[2], 1);
        let bake = Bake::new(&scene, &card(), 0);
        let mut before = [1.01f32; 3];
        for i in 0..20 {
            let now = bake.through(f64::from(i), 1.0);
            assert!(
                (0..3).all(|c| now[c] <= before[c] && now[c] > 0.0),
                "{} at {i} mm",
                series.name()
            );
            before = now;
        }
    }
}

/// More dye never looks lighter: the middle of the liquid darkens from step to step.
#[test]
fn the_vial_darkens_from_step_to_step() {
    let card = card();
    for series in [Series::Pink, Series::Indophenol, Series::PaleBlue] {
        let mut before = 766.0;
        for c in series.steps() {
            let shot = render(&clean(series, *c), &card);
            let [_, liquid] = shot.truth.vial.expect("a vial");
            let middle = [0, 1].map(|k| liquid.iter().map(|p| p[k]).sum::<f64>() / 4.0);
            let now = mean(&shot.rgb, middle, 3).iter().sum::<f64>();
            assert!(now < before, "{} {c}: {now} after {before}", series.name());
            before = now;
        }
    }
}

/// Bare paper in daylight through an exact camera is near neutral. Brightened paper is bluish by a few units of CIELAB (common
/// practice: up to about b* = -12), cream paper yellowish.
#[test]
fn paper_in_daylight_is_near_neutral() {
    let light = illuminant("D65");
    for (kind, low, high) in [
        (PaperKind::Bright, -13.0, 1.0),
        (PaperKind::Recycled, -5.0, 5.0),
        (PaperKind::Cream, 2.0, 16.0),
    ] {
        for seed in 0..5 {
            let paper = Paper::new(kind, &mut stream(seed, 1));
            let v = xyz(&light, &paper.under(&light));
            let white = xyz(&light, &[1.0; N]);
            let f: Vec<f64> = (0..3).map(|c| (v[c] / white[c]).cbrt()).collect();
            let (a, b) = (500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2]));
            assert!(
                a.abs() < 5.0 && b > low && b < high,
                "{kind:?}: a {a:.1} b {b:.1}"
            );
            assert!(v[1] > 0.6 && v[1] < 0.95, "{kind:?}: Y {}", v[1]);
        }
    }
}

/// A printer without errors prints what it is asked, as far as its inks reach: half of the patches within 3 units of CIELAB
/// under D65, relative to paper.
#[test]
fn printers_come_near_the_codes() {
    let card = card();
    let light = illuminant("D65");
    let lab = |v: [f64; 3]| {
        let white = xyz(&light, &[1.0; N]);
        let f = |t: f64| {
            if t > 216.0 / 24389.0 {
                t.cbrt()
            } else {
                (24389.0 / 27.0 * t + 16.0) / 116.0
            }
        };
        let [x, y, z]: [f64; 3] = std::array::from_fn(|c| f(v[c] / white[c]));
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    };
    for kind in [
        PrinterKind::DyeJet,
        PrinterKind::PigmentJet,
        PrinterKind::Toner,
    ] {
        let mut rng = stream(4, 1);
        let mut print = Session::new(4, Series::Pink).print;
        print.printer = Printer::new(kind, &mut rng);
        print.printer.ink_error = [1.0; 4];
        print.printer.patch_error = 0.0;
        let mut off: Vec<f64> = card
            .patches
            .iter()
            .map(|p| {
                let got = lab(xyz(&light, &print.patch(p.srgb, &mut rng)));
                let asked = p.srgb.map(|v| srgb::decode(f64::from(v) / 255.0));
                // IEC 61966-2-1, linear sRGB to XYZ.
                let m = [
                    [0.4124, 0.3576, 0.1805],
                    [0.2126, 0.7152, 0.0722],
                    [0.0193, 0.1192, 0.9505],
                ];
                let want = lab(apply(&m, asked));
                (0..3)
                    .map(|c| (got[c] - want[c]).powi(2))
                    .sum::<f64>()
                    .sqrt()
            })
            .collect();
        off.sort_by(f64::total_cmp);
        assert!(off[off.len() / 2] < 3.0, "{kind:?}: {off:.1?}");
    }
}

/// The same scene gives the same bytes, on one thread or two; another seed gives others.
#[test]
fn scenes_are_reproducible() {
    let card = card();
    let scene = Scene::plain(5).sized(400, 300);
    let pool = |n| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .expect("threads")
    };
    let one = pool(1).install(|| render(&scene, &card).jpeg());
    let two = pool(2).install(|| render(&scene, &card).jpeg());
    assert_eq!(one, two);
    let other = render(&Scene::plain(6).sized(400, 300), &card).jpeg();
    assert_ne!(one, other);
}

/// The stated geometry is that of the picture: markers' black corners cells are black just inside and paper just outside.
#[test]
fn truth_lies_where_the_picture_shows_it() {
    let card = card();
    for seed in 0..4 {
        let mut scene = clean(Series::Pink, 10.0);
        scene.pose = Session::new(seed, Series::Pink).tilted(10.0, seed).pose;
        scene.surroundings.bend_mm = 0.0;
        scene.surroundings.clutter.clear();
        scene.phone.distortion = 0.0;
        let scene = scene.sized(1600, 1200);
        let shot = render(&scene, &card);
        let h = &shot.geometry.homography;
        for (corner, x, y) in [
            (0, 0.0, 0.0),
            (1, card.width_mm, 0.0),
            (2, card.width_mm, card.height_mm),
            (3, 0.0, card.height_mm),
        ] {
            let p = on_photo(h, x, y);
            let t = shot.truth.face[corner];
            assert!(
                (p[0] - t[0]).hypot(p[1] - t[1]) < 0.01,
                "corner {corner}: {p:?} {t:?}"
            );
        }
        for t in &card.tags {
            let inside = mean(
                &shot.rgb,
                on_photo(h, t.x + 0.5 * t.size / 8.0, t.y + 0.5 * t.size),
                0,
            );
            let outside = mean(
                &shot.rgb,
                on_photo(h, t.x - 0.5 * t.size / 8.0, t.y + 0.5 * t.size),
                0,
            );
            assert!(
                inside[1] + 40.0 < outside[1],
                "seed {seed} marker {}: {inside:?} {outside:?}",
                t.id
            );
        }
    }
}

/// What the camera writes can be read by an EXIF reader, and the stored picture is turned as the orientation says.
#[test]
fn the_file_carries_its_capture_facts() {
    let card = card();
    let mut scene = Scene::plain(9).sized(400, 300);
    scene.capture.taken_at = "2026:04:18 07:45:12".into();
    scene.capture.orientation = 6;
    scene.exposure.flash = true;
    scene.phone.wide = true;
    let bytes = render(&scene, &card).jpeg();
    let fields = exif::Reader::new()
        .read_from_container(&mut std::io::Cursor::new(&bytes))
        .expect("EXIF");
    let text = |tag| {
        fields
            .get_field(tag, exif::In::PRIMARY)
            .map(|f| f.display_value().to_string())
            .unwrap_or_default()
    };
    assert_eq!(text(exif::Tag::DateTimeOriginal), "2026-04-18 07:45:12");
    assert_eq!(text(exif::Tag::OffsetTimeOriginal), "\"-08:00\"");
    assert_eq!(
        text(exif::Tag::Orientation),
        "row 0 at right and column 0 at top"
    );
    assert!(
        text(exif::Tag::Flash).starts_with("fired"),
        "{}",
        text(exif::Tag::Flash)
    );
    assert!(text(exif::Tag::Model).contains("Simulated phone"));
    let mut decoder = image::ImageReader::new(std::io::Cursor::new(&bytes))
        .with_guessed_format()
        .expect("in memory")
        .into_decoder()
        .expect("JPEG");
    use image::ImageDecoder;
    assert_eq!(decoder.dimensions(), (300, 400));
    assert!(decoder.icc_profile().expect("readable").is_some());
}
