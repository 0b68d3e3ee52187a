//! The colours that tests develop: absorbance along concentration.
//!
//! Shapes come from `fixtures/spectra/dye_spectra_modelled.csv`; the steps and strengths are our own, of the order that
//! such tests have. A dye is made for the inner width of its vial: the strongest step absorbs [`Dye::peak`] across it.

use super::spectra::{N, Spectrum, bump, dye_shape, spectrum, wavelength};

/// How the colour runs along concentration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Series {
    /// Colourless to pink.
    Pink,
    /// Yellow to red.
    YellowRed,
    /// Yellow over green to blue.
    YellowBlue,
    /// Colourless to blue: the molybdenum complex, most of whose band lies beyond the visible.
    PaleBlue,
    /// Colourless to blue: an indophenol.
    Indophenol,
}

impl Series {
    pub const ALL: [Series; 5] = [
        Series::Pink,
        Series::YellowRed,
        Series::YellowBlue,
        Series::PaleBlue,
        Series::Indophenol,
    ];

    /// A short name for files and tables.
    pub fn name(self) -> &'static str {
        match self {
            Series::Pink => "pink",
            Series::YellowRed => "yellow-red",
            Series::YellowBlue => "yellow-blue",
            Series::PaleBlue => "pale-blue",
            Series::Indophenol => "indophenol",
        }
    }

    /// Concentrations of the standards, mg/L.
    pub fn steps(self) -> &'static [f64] {
        match self {
            Series::Pink | Series::YellowRed => &[0.0, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0],
            Series::YellowBlue => &[0.0, 0.25, 0.5, 1.0, 2.0, 4.0],
            Series::PaleBlue => &[0.0, 0.1, 0.25, 0.5, 1.0, 2.0],
            Series::Indophenol => &[0.0, 0.2, 0.5, 1.0, 2.0, 3.0],
        }
    }

    /// Concentration counted in chart steps: the number of the step, linear between steps, the last slope beyond.
    pub fn step_index(&self, c: f64) -> f64 {
        let s = self.steps();
        let i = s
            .iter()
            .rposition(|v| *v <= c)
            .unwrap_or(0)
            .min(s.len() - 2);
        i as f64 + (c - s[i]) / (s[i + 1] - s[i])
    }

    /// Concentration at which the reagent is half used up, mg/L; infinite if the colour is in proportion.
    fn half_used(self) -> f64 {
        match self {
            Series::Pink => 50.0,
            Series::YellowRed => 40.0,
            Series::YellowBlue => 4.0,
            Series::PaleBlue => f64::INFINITY,
            Series::Indophenol => 8.0,
        }
    }
}

/// A developed test.
#[derive(Debug, Clone, PartialEq)]
pub struct Dye {
    pub series: Series,
    /// Decadic absorbance of the strongest step at the highest point of the visible band across `path_mm`.
    pub peak: f64,
    /// Inner width of the vial the test is made for, mm.
    pub path_mm: f64,
    bands: [Spectrum; 2],
    /// Decadic absorbance per mm at 440 nm of the water itself.
    pub water: f64,
}

impl Dye {
    pub fn new(series: Series, peak: f64, path_mm: f64) -> Dye {
        let yellow = dye_shape("reagent_yellow_background");
        let bands = match series {
            Series::Pink => [dye_shape("azo_sulfanilamide_NED"), [0.0; N]],
            // Modelled here: an azo dye that absorbs somewhat shorter than the pink one.
            Series::YellowRed => [
                spectrum(|w| bump(w, 508.0, 32.0) + 0.35 * bump(w, 465.0, 40.0)),
                yellow,
            ],
            Series::YellowBlue => [dye_shape("indophenol_salicylate"), yellow],
            Series::PaleBlue => [dye_shape("molybdenum_blue_antimony"), [0.0; N]],
            Series::Indophenol => [dye_shape("indophenol_blue_phenol"), [0.0; N]],
        };
        Dye {
            series,
            peak,
            path_mm,
            bands,
            water: 0.0,
        }
    }

    /// Share of the strongest step's colour, 0 at none, 1 at the last step; more beyond it.
    fn share(&self, c: f64) -> f64 {
        let half = self.series.half_used();
        let g = |c: f64| c / (1.0 + c / half);
        g(c) / g(*self.series.steps().last().expect("steps"))
    }

    /// Decadic absorbance per millimetre at every grid point for concentration `c` in mg/L.
    pub fn absorbance_per_mm(&self, c: f64) -> Spectrum {
        let grown = self.peak * self.share(c);
        let second = match self.series {
            // The yellow reagent turns into the red dye.
            Series::YellowRed => 0.55 * (1.0 - 0.6 * self.share(c).min(1.0)),
            Series::YellowBlue => 0.60,
            _ => 0.0,
        };
        std::array::from_fn(|i| {
            // Yellow matter of natural water: Bricaud, Morel & Prieur 1981, Limnol. Oceanogr. 26(1):43-53 (slope from memory).
            let water = self.water * (-0.014 * (wavelength(i) - 440.0)).exp();
            (grown * self.bands[0][i] + second * self.bands[1][i]) / self.path_mm + water
        })
    }
}
