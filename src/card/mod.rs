//! The printed card: its design in millimetres, its drawing, and how it is found in a photo.

pub mod design;
pub mod draw;
pub mod family;
pub mod find;
pub mod layout;
pub mod sharp;
