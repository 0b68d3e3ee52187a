//! All words in print, broken into lines by hand; a test holds that no line leaves its panel.

use crate::place::View;

/// A numbered step or a caution: its lines.
pub(super) type Item = &'static [&'static str];

pub(super) const NAME: &str = "Tintwell";

/// What the card is and what it is for.
pub(super) fn kind(id: &str, view: View, mono: bool) -> String {
    let ink = if mono {
        "Black-ink card"
    } else {
        "Colour card"
    };
    let vial = match view {
        View::Side => "for a vial seen from the side",
        View::Above => "for an open vial seen from above",
    };
    format!("{ink} {id}, {vial}")
}

pub(super) const BAR: &str = "This bar is exactly 100 mm long";
pub(super) const BAR_CHECK: &str = "Lay a ruler on it. If they disagree, print again at 100 %.";

pub(super) const PRINT_TITLE: &str = "Print";
pub(super) const PRINT: [&str; 5] = [
    "At 100 %, without scaling",
    "or fitting to the page.",
    "On matt, plain white paper.",
    "Print again when stained,",
    "creased or faded.",
];

pub(super) const PRINT_FLAT: [&str; 2] = [
    "At 100 %, without scaling or fitting to the page, on matt,",
    "plain white paper. Print again when stained or faded.",
];

pub(super) const FOLD_TITLE: &str = "Cut and fold";
pub(super) const FOLD: [&str; 5] = [
    "Cut along the solid line.",
    "Fold the dashed lines: both",
    "wings back, the flap towards",
    "you. The card then stands",
    "by itself behind the vial.",
];
pub(super) const CUT_TITLE: &str = "Cut";
pub(super) const CUT: [&str; 2] = [
    "Cut along the solid line.",
    "The card lies flat on the table.",
];

pub(super) const PHOTO_TITLE: &str = "Taking the photo";
pub(super) const PHOTO_SIDE: [Item; 5] = [
    &["Fill the vial and wait", "as your test says."],
    &[
        "Stand it on the rings,",
        "nearly touching the",
        "card. Wipe the glass.",
    ],
    &[
        "Diffuse light. No direct",
        "sun, flash or shadow",
        "on the card.",
    ],
    &[
        "The whole card in the",
        "photo, sharp, seen",
        "straight on.",
    ],
    &["Photograph the", "standards first, then", "the samples."],
];
pub(super) const PHOTO_ABOVE: [Item; 6] = [
    &["Fill the open vial and wait as your test says."],
    &["Stand it in the middle of the ring."],
    &["Diffuse light. No direct sun, flash or shadow on the card."],
    &["The whole card in the photo, sharp, seen from straight above."],
    &["Photograph the standards first: vials of known concentration."],
    &["Then the samples, with the same card."],
];

pub(super) const CAUTION_TITLE: &str = "Cautions";
pub(super) const CAUTIONS_SIDE: [Item; 5] = [
    &["Wear gloves and", "eye protection."],
    &["Keep reagents away", "from children and", "animals."],
    &["Follow the reagent", "maker's safety sheet."],
    &["Never pour a tested", "sample back into", "the tank."],
    &[
        "Not for drinking water,",
        "medical or compliance",
        "decisions.",
    ],
];
pub(super) const CAUTIONS_ABOVE: [Item; 5] = [
    &["Wear gloves and eye protection."],
    &["Keep reagents away from children", "and animals."],
    &["Follow the reagent maker's safety sheet."],
    &["Never pour a tested sample back", "into the tank."],
    &[
        "Not for drinking water, medical or",
        "compliance decisions.",
    ],
];

pub(super) const STAND_TITLE: &str = "Stand the vial here";
pub(super) const STAND: [&str; 3] = [
    "On the ring of its width, its back nearly",
    "touching the card, in the middle of the",
    "open bay. Rings from the card outwards:",
];

/// Under the rings' widths.
pub(super) const LINES: [&str; 2] = [
    "The faint lines on the card are to be seen",
    "through the liquid: if not, it is cloudy.",
];

pub(super) const FIRST_TITLE: &str = "Standards first";
pub(super) const FIRST: [&str; 4] = [
    "Photograph vials of known concentration",
    "before any sample, then the samples with",
    "the same card and phone, in light like",
    "that of the standards.",
];
