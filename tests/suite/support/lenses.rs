//! Lenses of invented make.

use breathmark::store::{Kind, LensDraft};

/// A lens for the Skerry bayonet; a zoom where its focal lengths, mm, differ.
pub(crate) fn draft(maker: &str, model: &str, focal: (f64, f64)) -> LensDraft {
    LensDraft {
        maker: maker.to_owned(),
        model: model.to_owned(),
        mount: "Skerry bayonet".to_owned(),
        kind: if focal.0 < focal.1 {
            Kind::Zoom
        } else {
            Kind::Prime
        },
        focal_min_mm: focal.0,
        focal_max_mm: focal.1,
        max_aperture: 2.8,
        closest_focus_m: Some(0.45),
    }
}
