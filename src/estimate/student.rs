//! Student's t distribution: what an error is worth whose variance is itself an estimate.

use statrs::distribution::StudentsT;

/// Student's t with `freedom` above 0.
pub(crate) fn student_t(freedom: f64) -> StudentsT {
    StudentsT::new(0.0, 1.0, freedom).expect("a positive number of degrees of freedom")
}
