//! Photo files: formats, colour spaces, orientation, facts, limits and damage.

#[path = "photo/colour.rs"]
mod colour;
#[path = "photo/damage.rs"]
mod damage;
#[path = "photo/facts.rs"]
mod facts;
#[path = "photo/files.rs"]
mod files;
#[path = "photo/heic.rs"]
mod heic;
#[path = "scenes/srgb.rs"]
mod srgb;
