//! Pure formulas: angle of view, thin lens, defocus, equivalent focal length, shooting plan.
