//! One frame → targets, against pictures whose truth is known.

mod accuracy;
mod reference;
mod render;
mod trouble;
mod uncertainty;
