//! The frame that every shift is stated against.

use crate::units::Measured;

/// Shift of a separation against a reference, per cent: (s/s₀ − 1)·100, positive is tighter.
///
/// The uncertainty holds the noise of both: u² = (100/s₀)²·(u(s)² + (s/s₀)²·u(s₀)²) (JCGM 100:2008, 5.1.2).
#[must_use]
pub(super) fn shift_pct(separation: Measured, reference: Measured) -> Measured {
    let ratio = separation.value / reference.value;
    let u = separation.std_error.hypot(ratio * reference.std_error) / reference.value;
    Measured::new((ratio - 1.0) * 100.0, u * 100.0)
}
