//! The vial as a lens: how it gathers the light of a lamp on the paper behind itself, and what that leaves open.
//!
//! A filled vial throws its own light and shadow where it stands, so the paper seen through it may be brighter or darker than
//! the card beside it, alike in all channels, and no patch shows by how much. But light that is gathered is gathered unevenly:
//! stripes run down the liquid. Their course from the vial's axis outwards tells how strongly it gathers, and where it is that
//! of the session, the vial gathers as it did there. Measures and judges; never corrects.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::bay::BayPicture;
use crate::light::spot::{mean, median};
use crate::place::Area;

/// Places from the axis outwards at which the light over the liquid is looked at.
const INSIDE: usize = 7;
/// Distance of neighbouring places in parts of the vial's outer radius: they reach as far as the band that is sampled.
const APART: f64 = 0.1;
/// Places on either side of the vial at which the light on the paper is looked at, in parts of its outer radius from the axis.
const BESIDE: [f64; 6] = [1.2, 1.4, 1.6, 1.8, 2.0, 2.2];
/// Refractive index of water: rays turn towards the axis on entering, so the path through the liquid shortens outwards by
/// less than the chord.
const WATER: f64 = 1.333;
/// What a difference beside the vial counts for against one over it: light is gathered into less width than it is taken from.
const BESIDE_SHARE: f64 = 0.15;

/// How the light runs across the vial and its surroundings, natural log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Across {
    /// Over the liquid from the axis outwards, the mean of both sides: without the liquid's own colour, summing to zero.
    pub inside: [f64; INSIDE],
    /// On the paper, against the light of the card, from the vial outwards to the left and to the right; `None` where there is
    /// no paper. The channel that the dye takes least of counts.
    pub beside: [[Option<f64>; BESIDE.len()]; 2],
}

/// What the session's vials did to its light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Lens {
    /// The mean course over the photos of the session.
    pub across: Across,
    /// How far single photos of the session were from it: root mean square of [`Across::unlike`].
    pub scatter: f64,
}

/// Gathered light that may differ by more than this from photo to photo of a session (natural log, standard deviation; 22 %) bends
/// a chart: many steps differ by less.
const UNSTEADY: f64 = 0.2;

impl Lens {
    /// How much the gathered light may differ from photo to photo of the session (natural log, standard deviation), if that is
    /// enough to bend a chart.
    pub fn unsteady(&self) -> Option<f64> {
        let gathered = alike(Some(self.scatter));
        (gathered > UNSTEADY).then_some(gathered)
    }

    /// The session's lens from the courses of its photos; `None` if there are none.
    pub fn of(seen: &[Across]) -> Option<Lens> {
        if seen.is_empty() {
            return None;
        }
        let n = seen.len() as f64;
        let across = Across {
            inside: std::array::from_fn(|i| seen.iter().map(|c| c.inside[i]).sum::<f64>() / n),
            beside: std::array::from_fn(|s| {
                std::array::from_fn(|i| mean(seen.iter().map(|c| c.beside[s][i])))
            }),
        };
        let square: f64 = seen.iter().map(|c| c.unlike(&across).powi(2)).sum();
        // The mean takes one degree of freedom.
        let scatter = (square / (n - 1.0).max(1.0)).sqrt();
        Some(Lens { across, scatter })
    }
}

impl Across {
    /// The course across a vial that stands upright between the outlines of `liquid`; `None` if it is not wholly in the
    /// picture.
    pub fn of(p: &BayPicture, liquid: Area) -> Option<Across> {
        let (centre, radius) = (liquid.centre().0, liquid.w / 2.0);
        let rows = p.inner_rows(liquid);
        let at = |part: f64| -> Option<Vector3<f64>> {
            let x = centre + part * radius;
            let i = p.column_within(x)?;
            // Where a lamp drives the picture to the top of its range, the top is what is known.
            let cells: Vec<Vector3<f64>> = rows
                .clone()
                .map(|j| p.level(i, j))
                .map(|l| l.against_white())
                .collect();
            Some(Vector3::from_fn(|c, _| {
                median(&mut cells.iter().map(|v| v[c]).collect::<Vec<_>>())
            }))
        };
        let profile: Vec<Vector3<f64>> = (-(INSIDE as i32)..=INSIDE as i32)
            .map(|k| at(APART * f64::from(k)))
            .collect::<Option<_>>()?;
        let profile = without_streaks(&profile);
        let axis = profile.len() / 2;
        let sides: Vec<Vector3<f64>> = (0..INSIDE)
            .map(|k| (profile[axis + k] + profile[axis - k]) / 2.0)
            .collect();
        let mean = sides.iter().sum::<Vector3<f64>>() / INSIDE as f64;
        let path: Vec<f64> = (0..INSIDE)
            .map(|k| (1.0 - (APART * k as f64 / WATER).powi(2)).sqrt())
            .collect();
        let mean_path = path.iter().sum::<f64>() / INSIDE as f64;
        // Channels count by the square of their light: where the dye takes most of it away, a weak reflection would show.
        let weight = mean.map(|m| (2.0 * m).exp());
        let weight = weight / weight.sum();
        Some(Across {
            inside: std::array::from_fn(|k| (sides[k] - mean * (path[k] / mean_path)).dot(&weight)),
            beside: [-1.0, 1.0].map(|side| BESIDE.map(|part| at(side * part).map(|v| v.max()))),
        })
    }

    /// How unlike another course this one is, natural log: the root mean square difference over the liquid, or what that on the
    /// paper beside it counts for if that is more.
    pub fn unlike(&self, other: &Across) -> f64 {
        let root =
            |squares: &[f64]| (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt();
        let inside: Vec<f64> = self
            .inside
            .iter()
            .zip(&other.inside)
            .map(|(a, b)| (a - b).powi(2))
            .collect();
        let beside: Vec<f64> = self
            .beside
            .iter()
            .flatten()
            .zip(other.beside.iter().flatten())
            .filter_map(|(a, b)| Some((a.as_ref()? - b.as_ref()?).powi(2)))
            .collect();
        root(&inside).max(BESIDE_SHARE * root(&beside))
    }
}

/// The light at each place but the first and the last, or next to it if both neighbours are darker or both brighter: a window or
/// a lamp that is mirrored on the glass makes a streak narrower than light that the vial gathers.
fn without_streaks(profile: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    profile
        .windows(3)
        .map(|w| Vector3::from_fn(|c, _| median(&mut [w[0][c], w[1][c], w[2][c]])))
        .collect()
}

/// How much the path of light through the liquid may differ (share of the depth) per standard deviation of the gathered light:
/// light from behind the camera crosses the liquid twice, light from the side once on its way back. From the same photos as
/// [`STEADY`]; in the session's own light what the path differs by from photo to photo is part of the repeatability.
const PATH_SHARE: f64 = 0.17;

/// Standard deviation of the gathered light, natural log: where the course is that of the session; per unit by which it is
/// unlike; and how that bends, since light is not gathered without end. From the populations "own", "other light", "other
/// camera" and "uneven light" of `tests/scenes`, in diffuse light and in any (study seeds 4242, 777, 31 and 20261125, 1563
/// photos); one law holds for all of them within a third.
const STEADY: f64 = 0.025;
const PER_UNLIKE: f64 = 5.5;
const BEND: f64 = 3.0;
/// The same where the course is not known.
const UNSEEN: f64 = 0.2;

/// Standard deviation of the gathered light, alike in all channels, natural log. `unlike` is how unlike the session's the course
/// is ([`Across::unlike`]); `None` if either was not seen.
pub fn alike(unlike: Option<f64>) -> f64 {
    unlike.map_or(UNSEEN, |u| STEADY.hypot(PER_UNLIKE * u / (1.0 + BEND * u)))
}

/// Covariance of a colour `ln` (natural log of relative light) from where the light comes from, which neither paper nor
/// patches show. `unlike` is how unlike the session's the course across the vial is.
pub fn gathered_light(ln: &Vector3<f64>, unlike: Option<f64>) -> Matrix3<f64> {
    let grey = alike(unlike).powi(2);
    Matrix3::from_element(grey) + ln * ln.transpose() * (PATH_SHARE * PATH_SHARE * grey)
}

/// The path of light through the liquid under another lamp than the session's (standard deviation, share of the depth): it comes
/// from elsewhere, and the course across the vial tells only of what is gathered. From population "other light" of
/// `tests/scenes` in diffuse light (study seeds 777, 31 and 9001).
const PATH_CHANGED: f64 = 0.04;
/// The brightness of the paper behind the vial likewise, natural log (study seeds 5501 and 9203).
const BRIGHTNESS_CHANGED: f64 = 0.055;

/// Covariance of a colour `ln` from light that goes another way than in the session; `unusual` is how surely it does, 0 to 1.
pub fn another_way(ln: &Vector3<f64>, unusual: f64) -> Matrix3<f64> {
    let grey = Matrix3::from_element(BRIGHTNESS_CHANGED * BRIGHTNESS_CHANGED);
    (ln * ln.transpose() * (PATH_CHANGED * PATH_CHANGED) + grey) * unusual
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sides(inside: [f64; INSIDE], left: f64) -> Across {
        Across {
            inside,
            beside: [[Some(left); BESIDE.len()], [None; BESIDE.len()]],
        }
    }

    #[test]
    fn a_session_is_the_mean_of_its_photos() {
        let up = [0.1, 0.0, 0.0, 0.0, 0.0, 0.0, -0.1];
        let (a, b) = (sides(up, 0.0), sides(up.map(|v| -v), 0.0));
        let lens = Lens::of(&[a.clone(), b]).unwrap();
        assert!(lens.across.inside.iter().all(|v| v.abs() < 1e-12));
        let each = a.unlike(&lens.across);
        assert!((each - (0.02f64 / 7.0).sqrt()).abs() < 1e-12);
        assert!((lens.scatter - each * 2.0f64.sqrt()).abs() < 1e-12);
        assert!(Lens::of(&[]).is_none());
    }

    /// A shadow beside the vial that the session had not tells of another lamp even where the liquid shows none.
    #[test]
    fn a_shadow_beside_counts() {
        let even = [0.0; INSIDE];
        let none = sides(even, 0.0);
        assert!(none.unlike(&none) < 1e-12);
        assert!((sides(even, -0.4).unlike(&none) - 0.4 * BESIDE_SHARE).abs() < 1e-12);
    }

    /// A window mirrored on the glass is no light that the vial gathers, and a course that bends smoothly stays.
    #[test]
    fn a_streak_on_the_glass_is_left_out() {
        let grey = |v: f64| Vector3::repeat(v);
        let smooth: Vec<Vector3<f64>> = (-4..=4).map(|k| grey(0.01 * f64::from(k))).collect();
        assert_eq!(without_streaks(&smooth), smooth[1..8]);
        let mut streak = smooth.clone();
        streak[5] = grey(0.4);
        for (with, without) in without_streaks(&streak).iter().zip(&smooth[1..8]) {
            assert!((with - without).amax() < 0.011);
        }
    }

    /// Stripes unlike those of the session leave more open, and what is not seen is not taken for known.
    #[test]
    fn stripes_leave_the_brightness_open() {
        let ln = Vector3::new(-0.1, -0.9, -0.4);
        let grey = |unlike| gathered_light(&ln, unlike).sum();
        assert!(grey(Some(0.0)) < grey(Some(0.01)) && grey(Some(0.01)) < grey(Some(0.1)));
        assert!(grey(Some(0.0)) < grey(None));
    }
}
