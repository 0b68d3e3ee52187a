//! The words on the sheet. Lines are set by hand; the tests check that each stays on its panel.
//!
//! An empty line is a gap of half a line.

/// A heading and its lines.
pub(super) struct Block {
    pub heading: &'static str,
    pub lines: &'static [&'static str],
}

/// Left wing of the upright card.
pub(super) const MAKE_UPRIGHT: Block = Block {
    heading: "Make the card",
    lines: &[
        "1  Print at 100 % (“actual",
        "size”, not “fit to page”)",
        "on heavy, matt white paper.",
        "",
        "2  Check the bar on the foot",
        "with a ruler: 100 mm.",
        "",
        "3  Let the ink dry for a day.",
        "Do not laminate or varnish.",
        "",
        "4  Cut along the solid line.",
        "",
        "5  Fold both wings back and",
        "the foot towards you. The",
        "card stands by itself.",
        "",
        "6  Keep it dry and dark. When",
        "it is stained or faded, print",
        "a new one and photograph",
        "the standards anew.",
    ],
};

/// Right wing of the upright card.
pub(super) const PHOTO_UPRIGHT: Block = Block {
    heading: "Take the photo",
    lines: &[
        "1  Wipe the vial. Stand it on",
        "its ring, nearly touching the",
        "card, any print turned away.",
        "",
        "2  Even, diffuse light. No",
        "direct sun, no flash, nothing",
        "coloured close by.",
        "",
        "3  Hold the phone level with",
        "the liquid, straight in front,",
        "25 to 40 cm away.",
        "",
        "4  The whole card in the photo,",
        "in focus, all six markers.",
        "",
        "5  Standards first: photos of",
        "vials of known strength.",
        "Then the samples: same card,",
        "vial, volume, waiting time",
        "and phone.",
    ],
};

/// Foot of the upright card, left of the rings.
pub(super) const CARE_UPRIGHT: Block = Block {
    heading: "Take care",
    lines: &[
        "Wear gloves and eye protection. Keep",
        "reagents away from children and animals.",
        "Follow the reagent maker’s safety sheet.",
    ],
};

/// Foot of the upright card, right of the rings.
pub(super) const LIMITS_UPRIGHT: Block = Block {
    heading: "Mind the limits",
    lines: &[
        "Never pour a tested sample back into the",
        "tank. Not for drinking water, nor for",
        "medical or compliance decisions.",
    ],
};

/// Three columns below the flat card.
pub(super) const FLAT: [Block; 3] = [
    Block {
        heading: "Make the card",
        lines: &[
            "1  Print at 100 % (“actual size”, not “fit",
            "to page”) on heavy, matt white paper.",
            "",
            "2  Check the bar below with a ruler.",
            "",
            "3  Let the ink dry for a day. Do not",
            "laminate or varnish.",
            "",
            "4  Cut along the solid line. Keep the card",
            "flat, dry and dark. When it is stained or",
            "faded, print a new one and photograph",
            "the standards anew.",
        ],
    },
    Block {
        heading: "Take the photo",
        lines: &[
            "1  Lay the card flat. Stand the open vial",
            "in the middle of the empty bay.",
            "",
            "2  Even, diffuse light. No direct sun, no",
            "flash, no lamp mirrored in the liquid.",
            "",
            "3  Hold the phone level, straight above,",
            "25 to 40 cm away: the whole card in the",
            "photo, in focus, all six markers.",
            "",
            "4  Standards of known strength first, then",
            "the samples: same card, vial, volume,",
            "waiting time and phone.",
        ],
    },
    Block {
        heading: "Take care",
        lines: &[
            "Wear gloves and eye protection. Keep",
            "reagents away from children and animals.",
            "Follow the reagent maker’s safety sheet.",
            "",
            "Never pour a tested sample back into",
            "the tank.",
            "",
            "Not for drinking water, nor for medical",
            "or compliance decisions.",
        ],
    },
];
