//! The vial: an upright cylinder of glass or plastic with liquid, and the way of a ray through it.
//!
//! A ray through concentric cylinders keeps its impact parameter, so its bend follows in closed form from Snell's law at
//! each wall. Rays that rise or fall along the axis keep their axial component; in the plane across the axis they see the
//! effective index sqrt(n^2 - k^2) / sqrt(1 - k^2), k the axial component in air (Bravais' rule; Born & Wolf, Principles of
//! Optics; from memory).

use super::spectra::Spectrum;

/// Refractive index of water near room temperature at 589 nm (common tables; from memory).
pub const WATER: f64 = 1.333;

/// A vial.
#[derive(Debug, Clone, PartialEq)]
pub struct Vial {
    pub outer_mm: f64,
    pub wall_mm: f64,
    /// Height without cap.
    pub height_mm: f64,
    /// Thickness of the bottom.
    pub base_mm: f64,
    /// Refractive index: about 1.52 for glass, 1.49 to 1.59 for clear plastics (common tables; from memory).
    pub index: f64,
    /// Share of red, green and blue that a millimetre of wall lets through.
    pub wall_tint: [f64; 3],
    pub cap: Option<Cap>,
}

/// A cap screwed or pressed onto the vial.
#[derive(Debug, Clone, PartialEq)]
pub struct Cap {
    pub reflectance: Spectrum,
    /// How far it reaches down, and above the vial's rim, mm.
    pub down_mm: f64,
    pub above_mm: f64,
    /// How far it stands out from the vial, mm.
    pub over_mm: f64,
    /// Number of ribs around; 0 = smooth.
    pub ribs: u32,
}

/// Where the vial stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    /// Sideways from the middle of the bay, mm, positive = right.
    pub offset_mm: f64,
    /// Gap between vial and card at the fold, mm.
    pub gap_mm: f64,
    /// How far the card leans back from the vertical, degrees; the vial stands upright.
    pub card_lean_deg: f64,
}

/// What is in the vial.
#[derive(Debug, Clone, PartialEq)]
pub struct Liquid {
    pub dye: super::dye::Dye,
    /// Concentration, mg/L.
    pub concentration: f64,
    /// Filled share of the inner height.
    pub fill: f64,
    /// Share of light scattered out of its way across the vial; 0 = clear.
    pub turbidity: f64,
    /// Unmixed: relative concentration runs from 1 + layers at the bottom to 1 - layers at the top; 0 = mixed.
    pub layers: f64,
    /// Bubbles: sideways, forward (both as share of the inner radius), height as share of the filled height, radius mm.
    pub bubbles: Vec<[f64; 4]>,
}

/// What is inside where a ray passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Inside {
    Air,
    Liquid,
    Solid,
}

/// The way of a ray through the vial, in the plane across the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage {
    /// Turn of the direction towards the axis, radians.
    pub turn: f64,
    /// Turn until the ray is inside the liquid, and its impact parameter there.
    pub turn_inside: f64,
    pub inside_impact: f64,
    /// Length through the inside and through the wall, in space, mm.
    pub inside_mm: f64,
    pub wall_mm: f64,
    /// Rise along the axis until the inside is entered, left, and until the ray leaves the vial, mm.
    pub rise: [f64; 3],
    /// Share let through by the surfaces, and reflected by the outer one.
    pub let_through: f64,
    pub reflected: f64,
    /// Turn and share of a ray reflected once at the far outer wall.
    pub echo_turn: f64,
    pub echo: f64,
}

/// Fresnel reflectance for unpolarised light from index `n1` to `n2` at incidence cosine `c`.
pub fn fresnel(n1: f64, n2: f64, c: f64) -> f64 {
    let s = n1 / n2 * (1.0 - c * c).max(0.0).sqrt();
    if s >= 1.0 {
        return 1.0;
    }
    let t = (1.0 - s * s).sqrt();
    let rs = (n1 * c - n2 * t) / (n1 * c + n2 * t);
    let rp = (n1 * t - n2 * c) / (n1 * t + n2 * c);
    0.5 * (rs * rs + rp * rp)
}

impl Vial {
    pub fn outer_radius(&self) -> f64 {
        self.outer_mm / 2.0
    }

    pub fn inner_radius(&self) -> f64 {
        self.outer_mm / 2.0 - self.wall_mm
    }

    /// Inner width, mm.
    pub fn path_mm(&self) -> f64 {
        2.0 * self.inner_radius()
    }

    /// Height of the liquid's surface above the foot for a filled share.
    pub fn level(&self, fill: f64) -> f64 {
        self.base_mm + fill * (self.height_mm - self.base_mm)
    }

    /// The way of a ray with impact parameter `b` (mm, at most the outer radius) and axial component `k`.
    pub fn pass(&self, b: f64, k: f64, inside: Inside) -> Passage {
        let b = b.abs();
        let (ro, ri) = (self.outer_radius(), self.inner_radius());
        let across = (1.0 - k * k).sqrt();
        let index = match inside {
            Inside::Air => 1.0,
            Inside::Liquid => WATER,
            Inside::Solid => self.index,
        };
        let effective = |n: f64| (n * n - k * k).sqrt() / across;
        let (ng, ni) = (effective(self.index), effective(index));
        // Length in space and rise for a length across the axis in a medium of true index n.
        let stretch = |n: f64| 1.0 / (1.0 - (k / n).powi(2)).sqrt();
        let slope = |n: f64| k / (n * n - k * k).sqrt();
        let asin = |v: f64| v.clamp(-1.0, 1.0).asin();
        let t1 = asin(b / ro);
        let t1g = asin(b / (ng * ro));
        let f1 = fresnel(1.0, self.index, t1.cos() * across);
        let through_wall = |far: f64| ro * t1g.cos() - far;
        if b >= ng * ri {
            // Only through the wall.
            let wall = 2.0 * through_wall(0.0);
            let rise = wall * slope(self.index);
            return Passage {
                turn: 2.0 * (t1 - t1g),
                turn_inside: t1 - t1g,
                inside_impact: f64::INFINITY,
                inside_mm: 0.0,
                wall_mm: wall * stretch(self.index),
                rise: [rise / 2.0, rise / 2.0, rise],
                let_through: (1.0 - f1).powi(2),
                reflected: f1,
                echo_turn: 0.0,
                echo: 0.0,
            };
        }
        let t2g = asin(b / (ng * ri));
        let wall = through_wall(ri * t2g.cos());
        let wall_rise = wall * slope(self.index);
        if b >= ni * ri {
            // Total reflection at the inner wall.
            return Passage {
                turn: 2.0 * (t1 - t1g) - (std::f64::consts::PI - 2.0 * t2g),
                turn_inside: t1 - t1g,
                inside_impact: f64::INFINITY,
                inside_mm: 0.0,
                wall_mm: 2.0 * wall * stretch(self.index),
                rise: [wall_rise, wall_rise, 2.0 * wall_rise],
                let_through: (1.0 - f1).powi(2),
                reflected: f1,
                echo_turn: 0.0,
                echo: 0.0,
            };
        }
        let t2i = asin(b / (ni * ri));
        let chord = 2.0 * ri * t2i.cos();
        let chord_rise = chord * slope(index);
        let f2 = fresnel(
            index,
            self.index,
            t2i.cos() * (1.0 - (k / index).powi(2)).sqrt(),
        );
        let echo = fresnel(
            self.index,
            1.0,
            t1g.cos() * (1.0 - (k / self.index).powi(2)).sqrt(),
        );
        let bend = 2.0 * (t2g - t2i);
        let (inside_mm, wall_mm) = match inside {
            Inside::Solid => (0.0, (chord + 2.0 * wall) * stretch(index)),
            _ => (chord * stretch(index), 2.0 * wall * stretch(self.index)),
        };
        Passage {
            turn: 2.0 * (t1 - t1g) + bend,
            turn_inside: t1 - t1g + bend / 2.0,
            inside_impact: b / ni,
            inside_mm,
            wall_mm,
            rise: [
                wall_rise,
                wall_rise + chord_rise,
                2.0 * wall_rise + chord_rise,
            ],
            let_through: ((1.0 - f1) * (1.0 - f2)).powi(2),
            reflected: f1,
            echo_turn: 2.0 * (t1 - t1g) + 2.0 * bend + std::f64::consts::PI - 2.0 * t1g,
            echo: echo * ((1.0 - f1) * (1.0 - f2).powi(2)).powi(2),
        }
    }
}
