//! Colour difference: Sharma, Wu, Dalal (2005) Color Research & Application 30(1):21-30, doi:10.1002/col.20070, Table I.

use tintwell::colour::{Lab, ciede2000};

use crate::table::{Differences, rows};

#[test]
fn ciede2000_of_all_34_pairs() {
    let mut differences = Differences::default();
    for row in rows("ciede2000_sharma2005.csv") {
        let pair = row.text("pair");
        let one = Lab::from(row.numbers(["L1", "a1", "b1"]));
        let two = Lab::from(row.numbers(["L2", "a2", "b2"]));
        let (there, back) = (ciede2000(one, two), ciede2000(two, one));
        differences.within(format!("pair {pair}"), there, row.number("dE00"), 1e-4);
        differences.within(
            format!("pair {pair}, all digits"),
            there,
            row.number("dE00_full"),
            1e-9,
        );
        differences.within(format!("pair {pair}, symmetry"), back, there, 1e-9);
    }
    differences.none_in(3 * 34);
}
