//! The picture that stands for a list of lenses where its address is shared: the curves of those that come first in it.

use super::frame::PICTURE_SIDES;
use crate::web::api::{MOST_LENSES, Params, RankedDocument, RankingDocument};

/// The address of the picture, without the site, and what it shows; `None` where none of the rows was measured.
///
/// It shows what the list was asked for: `document` says under which conditions, at which focal length, at which tolerance.
pub(super) fn list_picture(
    document: &RankingDocument,
    rows: &[RankedDocument],
) -> Option<(String, String)> {
    let measured = rows.iter().filter(|row| row.measured).take(MOST_LENSES);
    let first: Vec<&RankedDocument> = measured.collect();
    let names: Vec<String> = first.iter().map(|row| row.lens.name()).collect();
    let at = document.focal_mm.map(|focal| focal.to_string());
    let tolerance = document.tolerance_pct.to_string();
    let (width, height) = PICTURE_SIDES;
    let (width, height) = (width.to_string(), height.to_string());
    let shared = [
        ("width", Some(width.as_str())),
        ("height", Some(height.as_str())),
        ("conditions", Some(document.conditions.code.as_str())),
        ("tolerance_pct", Some(tolerance.as_str())),
        ("focal_mm", at.as_deref()),
    ];
    let asked = |lenses: &[(&'static str, Option<&str>)]| {
        Params::default().with(&[lenses, &shared].concat())
    };
    match first.as_slice() {
        [] => None,
        [only] => Some((
            format!("/charts/lens/{}.png?{}", only.lens.slug, asked(&[])),
            format!(
                "Shift of the picture scale of the {} against focus distance",
                names[0]
            ),
        )),
        several => {
            let lenses: Vec<(&str, Option<&str>)> = several
                .iter()
                .map(|row| ("lens", Some(row.lens.slug.as_str())))
                .collect();
            Some((
                format!("/charts/compare.png?{}", asked(&lenses)),
                format!(
                    "The curves of these lenses on one chart: {}",
                    names.join(", ")
                ),
            ))
        }
    }
}
