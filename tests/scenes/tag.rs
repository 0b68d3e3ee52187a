//! Codes of the AprilTag family 36h11, for drawing the card's markers.
//!
//! Source: AprilTag family 36h11, BSD-2-Clause (Olson 2011, "AprilTag: a robust and flexible visual fiducial system", ICRA;
//! Wang & Olson 2016, IROS). The first 64 codes of the family's published list, and its bit order: bit 35 first, at
//! the cells named by [`BIT_X`] and [`BIT_Y`]; a set bit is a white cell.

/// Cell column of each bit in the 8 x 8 black square, first bit first.
const BIT_X: [u8; 36] = [
    1, 2, 3, 4, 5, 2, 3, 4, 3, 6, 6, 6, 6, 6, 5, 5, 5, 4, 6, 5, 4, 3, 2, 5, 4, 3, 4, 1, 1, 1, 1, 1, 2, 2, 2, 3,
];

/// Cell row of each bit in the 8 x 8 black square, row 0 at the top.
const BIT_Y: [u8; 36] = [
    1, 1, 1, 1, 1, 2, 2, 2, 3, 1, 2, 3, 4, 5, 2, 3, 4, 3, 6, 6, 6, 6, 6, 5, 5, 5, 4, 6, 5, 4, 3, 2, 5, 4, 3, 4,
];

const CODES: [u64; 64] = [
    0xd7e00984b,
    0xdda664ca7,
    0xdc4a1c821,
    0xe17b470e9,
    0xef91d01b1,
    0xf429cdd73,
    0x5da29225,
    0x1106cba43,
    0x223bed79d,
    0x21f51213c,
    0x33eb19ca6,
    0x3f76eb0f8,
    0x469a97414,
    0x45dcfe0b0,
    0x4a6465f72,
    0x51801db96,
    0x5eb946b4e,
    0x68a7cc2ec,
    0x6f0ba2652,
    0x78765559d,
    0x87b83d129,
    0x86cc4a5c5,
    0x8b64df90f,
    0x9c577b611,
    0xa3810f2f5,
    0xaf4d75b83,
    0xb59a03fef,
    0xbb1096f85,
    0xd1b92fc76,
    0xd0dd509d2,
    0xe2cfda160,
    0x2ff497c63,
    0x47240671b,
    0x5047a2e55,
    0x635ca87c7,
    0x691254166,
    0x68f43d94a,
    0x6ef24bdb6,
    0x8cdd8f886,
    0x9de96b718,
    0xaff6e5a8a,
    0xbae46f029,
    0xd225b6d59,
    0xdf8ba8c01,
    0xe3744a22f,
    0xfbb59375d,
    0x18a916828,
    0x22f29c1ba,
    0x286887d58,
    0x41392322e,
    0x75d18ecd1,
    0x87c302743,
    0x8c6317ba9,
    0x9e40f36d7,
    0xc0e5a806a,
    0xcc78cb87c,
    0x12d2f2d01,
    0x379f36a21,
    0x6973f59ac,
    0x7789ea9f4,
    0x8f1c73e84,
    0x8dd287a20,
    0x94a4eee4c,
    0xa455379b5,
];

/// The cells of a marker's black square: `true` is white (bare paper). Row by row from the top left.
///
/// # Panics
/// If the id is not in the table.
pub fn cells(id: u32) -> [[bool; 8]; 8] {
    let code = CODES[id as usize];
    let mut cells = [[false; 8]; 8];
    for (i, (x, y)) in BIT_X.iter().zip(BIT_Y).enumerate() {
        cells[y as usize][*x as usize] = code >> (35 - i) & 1 == 1;
    }
    cells
}
