//! What lies around the targets, and what its light does to their centres: an uneven background, reflections, dust.

pub(super) mod backdrop;
mod beside;
pub(super) mod dust;
pub(super) mod other_light;
