//! Light: from light as photographed to light relative to bare paper, and from this photo's patches onto the session's.

pub mod terms;
