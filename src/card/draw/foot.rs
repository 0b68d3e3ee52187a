//! What is printed beside the face to be measured or stood upon: the scale bar and the rings for the vial's foot.

use super::pen::{Anchor, Line, Pen, Type};

/// Length of the scale bar, mm: long enough to see an error of scale of half a percent on a ruler.
pub(super) const BAR_MM: u32 = 100;

/// Diameters of the rings, mm: the vials the card is made for, from 12 to 28 mm.
const RINGS: [f64; 5] = [12.0, 16.0, 20.0, 24.0, 28.0];

/// Between the fold and the vial, mm: nearly touching, and room for the paper's bend.
const GAP: f64 = 1.0;

/// A bar with a tick for each millimetre; its zero at (`x`, `y`), ticks upwards, numbers above.
pub(super) fn bar(x: f64, y: f64, pen: &mut Pen) {
    let length = f64::from(BAR_MM);
    pen.line(&[(x, y), (x + length, y)], Line::Solid);
    for mm in 0..=BAR_MM {
        let height = if mm % 10 == 0 {
            2.6
        } else if mm % 5 == 0 {
            1.9
        } else {
            1.2
        };
        let at = x + f64::from(mm);
        pen.line(&[(at, y), (at, y - height)], Line::Solid);
        if mm % 10 == 0 {
            let small = Type {
                size: 1.9,
                bold: false,
            };
            pen.text((at, y - 3.3), Anchor::Middle, small, &mm.to_string());
        }
    }
}

/// Rings for vials of several diameters, all touching the fold at (`x`, `y`), with a line through their centres.
pub(super) fn rings(x: f64, y: f64, pen: &mut Pen) {
    let near = y + GAP;
    for diameter in RINGS {
        pen.circle(x, near + diameter / 2.0, diameter / 2.0);
        let small = Type {
            size: 1.7,
            bold: false,
        };
        pen.text(
            (x + 0.5, near + diameter - 0.7),
            Anchor::Start,
            small,
            &diameter.to_string(),
        );
    }
    pen.line(
        &[(x, near), (x, near + RINGS[RINGS.len() - 1] + 1.0)],
        Line::Solid,
    );
}
