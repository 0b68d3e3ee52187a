//! Codes of the AprilTag family 36h11, for drawing the card's markers.
//!
//! Source: AprilTag family 36h11, BSD-2-Clause (Olson 2011, "AprilTag: a robust and flexible visual fiducial system", ICRA;
//! Wang & Olson 2016, IROS). The codes of the card's ids from the family's published list, and its bit order: bit 35 first, at
//! the cells named by [`BIT_X`] and [`BIT_Y`]; a set bit is a white cell.

/// Cell column of each bit in the 8 x 8 black square, first bit first.
const BIT_X: [u8; 36] = [
    1, 2, 3, 4, 5, 2, 3, 4, 3, 6, 6, 6, 6, 6, 5, 5, 5, 4, 6, 5, 4, 3, 2, 5, 4, 3, 4, 1, 1, 1, 1, 1, 2, 2, 2, 3,
];

/// Cell row of each bit in the 8 x 8 black square, row 0 at the top.
const BIT_Y: [u8; 36] = [
    1, 1, 1, 1, 1, 2, 2, 2, 3, 1, 2, 3, 4, 5, 2, 3, 4, 3, 6, 6, 6, 6, 6, 5, 5, 5, 4, 6, 5, 4, 3, 2, 5, 4, 3, 4,
];

const CODES: [(u32, u64); 24] = [
    (112, 0xfec8daaad),
    (113, 0x71ecb6d95),
    (114, 0xdc9e50e4c),
    (115, 0xca3a4c259),
    (116, 0x740d12bbf),
    (117, 0xaeedd18e0),
    (118, 0xb509b9c8e),
    (119, 0x5232fea1c),
    (120, 0x19282d18b),
    (121, 0x76c22d67b),
    (122, 0x936beb34b),
    (123, 0x8a5ea8dd),
    (124, 0x679eadc28),
    (125, 0xa08e119c5),
    (126, 0x20a6e3e24),
    (127, 0x7eab9c239),
    (128, 0x96632c32e),
    (129, 0x470d06e44),
    (130, 0x8a70212fb),
    (131, 0xa7e4251b),
    (132, 0x9ec762cc0),
    (133, 0xd8a3a1f48),
    (134, 0xdb680f346),
    (135, 0x4a1e93a9d),
];

/// The cells of a marker's black square: `true` is white (bare paper). Row by row from the top left.
///
/// # Panics
/// If the id is not in the table.
pub fn cells(id: u32) -> [[bool; 8]; 8] {
    let code = CODES.iter().find(|c| c.0 == id).expect("a marker of the card").1;
    let mut cells = [[false; 8]; 8];
    for (i, (x, y)) in BIT_X.iter().zip(BIT_Y).enumerate() {
        cells[y as usize][*x as usize] = code >> (35 - i) & 1 == 1;
    }
    cells
}
