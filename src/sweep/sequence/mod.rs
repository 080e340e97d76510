//! The sequence of the focus: the order of the frames as the pictures show it, where each stands, and what is missing.

pub(super) mod hunting;
pub(super) mod pace;
pub(super) mod places;
pub(super) mod restore;
pub(super) mod runs;
pub(super) mod unseen;
