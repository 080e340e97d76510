//! A card into sweeps, and the frames of each in order, by what their files say.

mod carries_on;
pub(super) mod naming;
pub(super) mod order;
pub(super) mod split;
