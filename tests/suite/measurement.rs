//! One frame → targets, against pictures whose truth is known.

mod accuracy;
mod reference;
mod render;
mod tape;
mod trouble;
mod uncertainty;
