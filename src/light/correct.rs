//! The correction that makes this photo's patches look like the session's, chosen by leave-one-out CIEDE2000.
//!
//! Candidates, from simple to rich: none; tone of the neutrals; and, with or without tone, a 3x3 matrix, a matrix in the
//! logarithm of the channels, and the root polynomial of degree 2 (Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans.
//! Image Process. 24(5):1460-1470). All keep bare paper white. A candidate is taken only if it predicts patches that it
//! has not seen better than a simpler one; with few patches few terms pass. A liquid is moved by what the inks say
//! of lamp and camera ([`super::metamerism`]): it may be deeper than any of them, where such maps run away, and no left-out ink
//! can tell.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use super::hue::{Hue, depth};
use super::metamerism::{Changes, Population};
use super::terms::{Terms, drawn_towards};
use super::tone::Tone;
use super::{Level, Observed, PatchSeen, relative};
use crate::colour::{Relative, ciede2000};

/// A patch as the session saw it.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct SessionPatch {
    /// Name in the card design.
    pub name: String,
    /// A step of the neutral scale.
    pub neutral: bool,
    /// Natural logarithm of linear BT.2020 light relative to paper.
    pub ln: [f64; 3],
    /// Standard deviation of `ln` between the photos of the session, per channel; `None` from a single photo.
    pub sd: Option<[f64; 3]>,
}

/// The shape of a colour map.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Channels stay as they are.
    None,
    /// 3x3 matrix on linear light.
    Linear,
    /// 3x3 matrix on the logarithm of light.
    LogLinear,
    /// Root polynomial of degree 2.
    RootPolynomial,
}

/// A fitted colour map; bare paper stays (1, 1, 1).
#[derive(Debug, Clone, PartialEq)]
enum Map {
    None,
    Log(Matrix3<f64>),
    Terms(Terms, DMatrix<f64>),
}

/// A correction, with the evidence for it.
#[derive(Debug, Clone)]
pub struct Correction {
    tone: Tone,
    map: Map,
    to_working: Matrix3<f64>,
    /// What moves a liquid; `None` where there were too few patches.
    liquid: Option<ForLiquid>,
    /// Coefficients of the tone bend, 0 for none.
    pub tone_order: usize,
    /// Shape of the colour map.
    pub shape: Shape,
    /// Mean leave-one-out CIEDE2000 over the patches with this correction; `None` if there were no patches.
    pub loo: Option<f64>,
    /// The same without any correction.
    pub loo_uncorrected: Option<f64>,
    /// Per patch: name, session colour and leave-one-out residual (photo minus session), both natural log of relative light.
    pub residuals: Vec<(String, Vector3<f64>, Vector3<f64>)>,
    /// Patches that did not go along with the others and were left out: stained, covered, under a reflection.
    pub left_out: Vec<String>,
}

/// Prior standard deviation of a map's coefficients about the identity: two phones or two lamps differ by some tenths.
const COEFFICIENT_SD: f64 = 0.3;
/// How closely a patch can be matched at best (natural log): print grain and noise, about 1 %.
const PATCH_SD: f64 = 0.01;
/// A richer correction has to predict better than a simpler one by this share before it is taken.
const GAIN: f64 = 0.95;
/// Weight of bare paper in a fit, in patches: paper is seen in many places.
const WHITE_WEIGHT: f64 = 30.0;

/// One patch of so many, at most, may be spoiled: with more the card is not what it was.
const SPOILED: usize = 6;
/// A patch strays if it is missed by so much (CIEDE2000; a plain difference to the eye) and by so many times what the middle
/// patch is missed by: inks of one print do not differ so among themselves in another light.
const STRAY: f64 = 4.0;
const STRAY_TIMES: f64 = 5.0;

/// What moves the colour of a liquid to the session.
#[derive(Debug, Clone)]
struct ForLiquid {
    tone: Tone,
    /// What the inks are moved and missed by.
    inks: Hue,
    /// What lamp and camera did to inks and so do to a dye; `None` where too few of the inks have a colour to tell.
    changes: Option<Changes>,
}

struct Pair<'a> {
    level: Level,
    session: Vector3<f64>,
    neutral: bool,
    name: &'a str,
}

impl Correction {
    /// No correction beyond white balance.
    pub fn none(to_working: Matrix3<f64>) -> Correction {
        Correction {
            tone: Tone::none(),
            map: Map::None,
            to_working,
            liquid: None,
            tone_order: 0,
            shape: Shape::None,
            loo: None,
            loo_uncorrected: None,
            residuals: Vec::new(),
            left_out: Vec::new(),
        }
    }

    /// Chooses the correction from this photo's patches onto the session's. A few patches that the others, without them,
    /// predict far worse than each other are left out.
    pub fn choose(seen: &Observed, session: &[SessionPatch]) -> Correction {
        let mut pairs = pair(&seen.patches, session);
        let most = pairs.len() / SPOILED;
        let mut left_out = Vec::new();
        loop {
            let correction = Correction::of(&pairs, seen);
            let stray = correction.stray().filter(|_| left_out.len() < most);
            let Some(stray) = stray else {
                return Correction {
                    left_out,
                    liquid: for_liquid(&pairs, seen),
                    ..correction
                };
            };
            pairs.retain(|p| p.name != stray);
            left_out.push(stray);
        }
    }

    /// The patch that strays farthest from what the others say, if it does so beyond doubt.
    fn stray(&self) -> Option<String> {
        let mut missed: Vec<(f64, &String)> = self
            .residuals
            .iter()
            .map(|(name, session, residual)| {
                let lab = |ln: Vector3<f64>| Relative(ln.map(f64::exp).into()).to_lab();
                (ciede2000(lab(session + residual), lab(*session)), name)
            })
            .collect();
        missed.sort_by(|a, b| a.0.total_cmp(&b.0));
        let usual = missed.get(missed.len() / 2)?.0;
        let (worst, name) = missed.last()?;
        (*worst > STRAY.max(STRAY_TIMES * usual)).then(|| (*name).clone())
    }

    /// Chooses the correction from pairs of patches.
    fn of(pairs: &[Pair], seen: &Observed) -> Correction {
        let mut best = Correction::none(seen.to_working);
        if pairs.len() < 4 {
            return best;
        }
        let neutrals = pairs.iter().filter(|p| p.neutral).count();
        let mut best_score = f64::INFINITY;
        for shape in [
            Shape::None,
            Shape::Linear,
            Shape::LogLinear,
            Shape::RootPolynomial,
        ] {
            for tone_order in 0..=3usize {
                let terms = tone_order + shape.terms();
                // Leave-one-out needs clearly more patches than terms per channel, and colours for a colour map.
                if (tone_order > 0 && neutrals < tone_order + 3)
                    || (shape != Shape::None && pairs.len() - neutrals < 2 * shape.terms())
                    || pairs.len() < terms + 3
                {
                    continue;
                }
                let Some(candidate) = Correction::examine(pairs, tone_order, shape, seen) else {
                    continue;
                };
                let score = candidate.loo.unwrap_or(f64::INFINITY);
                if best.loo.is_none() {
                    best.loo_uncorrected = Some(score);
                }
                if score < best_score * if best.loo.is_some() { GAIN } else { 1.0 } {
                    best_score = score;
                    best = Correction {
                        loo_uncorrected: best.loo_uncorrected.or(Some(score)),
                        ..candidate
                    };
                }
            }
        }
        best
    }

    fn examine(
        pairs: &[Pair],
        tone_order: usize,
        shape: Shape,
        seen: &Observed,
    ) -> Option<Correction> {
        let fitted = Correction::fit(pairs, None, tone_order, shape, seen)?;
        let mut residuals = Vec::new();
        let mut sum = 0.0;
        for (i, p) in pairs.iter().enumerate() {
            let without = Correction::fit(pairs, Some(i), tone_order, shape, seen)?;
            let got = without.apply(&p.level);
            let want = Relative(p.session.map(f64::exp).into());
            sum += ciede2000(got.to_lab(), want.to_lab());
            residuals.push((p.name.to_owned(), p.session, ln(got) - p.session));
        }
        Some(Correction {
            loo: Some(sum / pairs.len() as f64),
            residuals,
            ..fitted
        })
    }

    fn fit(
        pairs: &[Pair],
        left_out: Option<usize>,
        tone_order: usize,
        shape: Shape,
        seen: &Observed,
    ) -> Option<Correction> {
        let kept = || {
            pairs
                .iter()
                .enumerate()
                .filter(|(i, _)| Some(*i) != left_out)
                .map(|(_, p)| p)
        };
        let tone = bend(kept(), tone_order, seen)?;
        let mut from = Vec::new();
        let mut to = Vec::new();
        for p in kept() {
            from.push(relative(&tone.apply(&p.level), &seen.to_working));
            to.push(p.session);
        }
        let map = match shape {
            Shape::None => Map::None,
            Shape::LogLinear => Map::Log(fit_log(&from, &to)?),
            Shape::Linear => Map::Terms(Terms::Linear, fit_terms(Terms::Linear, &from, &to)?),
            Shape::RootPolynomial => Map::Terms(Terms::Root2, fit_terms(Terms::Root2, &from, &to)?),
        };
        let none = Correction::none(seen.to_working);
        Some(Correction {
            tone,
            map,
            tone_order,
            shape,
            ..none
        })
    }

    /// The light of a level relative to paper, as the session would have seen it.
    pub fn apply(&self, level: &Level) -> Relative {
        let rel = relative(&self.tone.apply(level), &self.to_working);
        match &self.map {
            Map::None => rel,
            Map::Log(m) => Relative((m * ln(rel)).map(f64::exp).into()),
            Map::Terms(terms, m) => {
                let out = m * DVector::from_vec(terms.expand(rel.0));
                Relative([out[0].max(LEAST), out[1].max(LEAST), out[2].max(LEAST)])
            }
        }
    }

    /// The light of a liquid relative to paper (natural log), as the session would have seen it.
    pub fn apply_to_liquid(&self, level: &Level) -> Vector3<f64> {
        let Some(liquid) = &self.liquid else {
            return ln(self.apply(level));
        };
        let plain = ln(relative(&liquid.tone.apply(level), &self.to_working));
        match &liquid.changes {
            Some(changes) => plain + changes.moved(&plain),
            None => plain,
        }
    }

    /// The same with no correction beyond white balance: as it is seen.
    pub fn unmoved(&self, level: &Level) -> Vector3<f64> {
        ln(relative(&Tone::none().apply(level), &self.to_working))
    }

    /// Covariance of what the correction leaves open at the colour of a liquid (natural log of relative light).
    pub fn residual_covariance(&self, at: &Vector3<f64>) -> Matrix3<f64> {
        self.liquid
            .as_ref()
            .map_or_else(Matrix3::zeros, |liquid| liquid.inks.covariance(at))
    }

    /// Covariance (natural log of relative light) of how far a dye goes another way than inks in another light or to another
    /// camera; `usual` is what inks are missed by in the session itself, nothing where that is not known: in the session's light
    /// a dye goes the way of the standards.
    pub fn metamerism(&self, at: &Vector3<f64>, usual: Option<f64>) -> Matrix3<f64> {
        self.telling().map_or_else(Matrix3::zeros, |inks| {
            Population::shipped().dyes_missed(at)
                * (inks.unrest() * inks.unusual(usual.unwrap_or(0.0)) * depth(at).powi(2))
        })
    }

    /// Covariance (natural log of relative light) of the same where no inks tell of lamp and camera: those of the session are as
    /// likely as any. Nothing where they tell. Photos of one session need not have it among each other.
    pub fn untold(&self, at: &Vector3<f64>) -> Matrix3<f64> {
        match self.telling() {
            Some(_) => Matrix3::zeros(),
            None => Population::shipped().unknown(at),
        }
    }

    /// How surely lamp or camera are not those of the session, 0 to 1; `usual` as in [`Correction::metamerism`]. Where no inks tell,
    /// they may be any.
    pub fn unusual(&self, usual: Option<f64>) -> f64 {
        self.telling()
            .map_or(1.0, |inks| inks.unusual(usual.unwrap_or(0.0)))
    }

    /// The inks, if they tell of lamp and camera.
    fn telling(&self) -> Option<&Hue> {
        let liquid = self.liquid.as_ref()?;
        liquid.changes.as_ref().map(|_| &liquid.inks)
    }

    /// Whether patches tell of lamp and camera: enough of them have a colour.
    pub fn is_told(&self) -> bool {
        self.telling().is_some()
    }

    /// What inks are missed by in this photo when each is predicted from the others ([`Hue::missed`]).
    pub fn inks_missed(&self) -> Option<f64> {
        self.liquid.as_ref().map(|liquid| liquid.inks.missed())
    }
}

/// Least relative light a map may give: about the darkest ink on paper in a phone photo, 1/500.
const LEAST: f64 = 0.002;
impl Shape {
    /// Coefficients per channel.
    fn terms(self) -> usize {
        match self {
            Shape::None => 0,
            Shape::Linear | Shape::LogLinear => 3,
            Shape::RootPolynomial => 6,
        }
    }
}

/// Natural logarithm of relative light, guarded from zero.
pub fn ln(rel: Relative) -> Vector3<f64> {
    Vector3::from(rel.0).map(|v| v.max(LEAST).ln())
}

/// The bend of tone of some order that fits the neutrals among some patches.
fn bend<'a>(
    pairs: impl Iterator<Item = &'a Pair<'a>>,
    order: usize,
    seen: &Observed,
) -> Option<Tone> {
    if order == 0 {
        return Some(Tone::none());
    }
    let neutrals: Vec<_> = pairs
        .filter(|p| p.neutral)
        .map(|p| (p.level, p.session))
        .collect();
    Tone::fit(order, seen.white, &neutrals)
}

/// What moves a liquid: of the bends of tone the one with which left-out inks are predicted best.
fn for_liquid(pairs: &[Pair], seen: &Observed) -> Option<ForLiquid> {
    let neutrals = pairs.iter().filter(|p| p.neutral).count();
    let mut best: Option<(f64, Tone, Hue, Vec<_>)> = None;
    for order in (0..=3usize).filter(|o| *o == 0 || neutrals >= o + 3) {
        let Some(tone) = bend(pairs.iter(), order, seen) else {
            continue;
        };
        let inks: Vec<_> = pairs
            .iter()
            .map(|p| {
                (
                    ln(relative(&tone.apply(&p.level), &seen.to_working)),
                    p.session,
                )
            })
            .collect();
        let hue = Hue::fit(&inks)?;
        let lab = |ln: &Vector3<f64>| Relative(ln.map(f64::exp).into()).to_lab();
        let missed: f64 = hue
            .left_out()
            .iter()
            .zip(&inks)
            .map(|(left_out, ink)| ciede2000(lab(left_out), lab(&ink.1)))
            .sum();
        if best.as_ref().is_none_or(|b| missed < GAIN * b.0) {
            best = Some((missed, tone, hue, inks));
        }
    }
    let (_, tone, hue, inks) = best?;
    let told = pairs.len() - neutrals >= COLOURED;
    Some(ForLiquid {
        tone,
        inks: hue,
        changes: told
            .then(|| Changes::of(Population::shipped(), &inks))
            .flatten(),
    })
}

/// Fewest patches with a colour that tell of lamp and camera: grey looks alike under most, and one ink or two tell of their own hue
/// alone. A third of those of the card; a choice.
const COLOURED: usize = 6;

fn pair<'a>(patches: &[PatchSeen], session: &'a [SessionPatch]) -> Vec<Pair<'a>> {
    patches
        .iter()
        .filter_map(|p| {
            let s = session.iter().find(|s| s.name == p.name)?;
            Some(Pair {
                level: p.level,
                session: Vector3::from(s.ln),
                neutral: p.neutral,
                name: &s.name,
            })
        })
        .collect()
}

/// How strongly a map's coefficients are drawn towards those that change nothing ([`Terms::fit`]).
const PULL: f64 = (PATCH_SD / COEFFICIENT_SD) * (PATCH_SD / COEFFICIENT_SD);

fn fit_log(from: &[Relative], to: &[Vector3<f64>]) -> Option<Matrix3<f64>> {
    let x: Vec<Vector3<f64>> = from.iter().map(|r| ln(*r)).collect();
    let a = DMatrix::from_fn(x.len(), 3, |i, j| x[i][j]);
    let mut m = Matrix3::zeros();
    for c in 0..3 {
        let y = DVector::from_fn(to.len(), |i, _| to[i][c]);
        let prior = DVector::from_fn(3, |j, _| if j == c { 1.0 } else { 0.0 });
        let row = drawn_towards(&prior, PULL, &a, &y)?;
        for j in 0..3 {
            m[(c, j)] = row[j];
        }
    }
    Some(m)
}

fn fit_terms(terms: Terms, from: &[Relative], to: &[Vector3<f64>]) -> Option<DMatrix<f64>> {
    let patches = from.len();
    let mut from: Vec<[f64; 3]> = from.iter().map(|r| r.0).collect();
    let mut to: Vec<[f64; 3]> = to.iter().map(|ln| ln.map(f64::exp).into()).collect();
    from.push([1.0; 3]);
    to.push([1.0; 3]);
    // Relative errors count alike over the scale, with a floor where print is nearly black.
    let weight = |i: usize, c: usize| match i {
        i if i < patches => 1.0 / (to[i][c] + 0.05),
        _ => WHITE_WEIGHT,
    };
    terms.fit(&from, &to, weight, PULL)
}
