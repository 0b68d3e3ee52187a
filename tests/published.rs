//! Published numbers: each test runs all rows of a table in `fixtures/published/` through the project's own functions and names
//! every row that fails. Sources and tolerances stand in the heads of the tables.

#[path = "published/table.rs"]
mod table;

#[path = "published/calibration.rs"]
mod calibration;
#[path = "published/combine.rs"]
mod combine;
#[path = "published/correction.rs"]
mod correction;
#[path = "published/curve.rs"]
mod curve;
#[path = "published/detection.rs"]
mod detection;
#[path = "published/difference.rs"]
mod difference;
#[path = "published/space.rs"]
mod space;
