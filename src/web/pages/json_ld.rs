//! A lens's record as a data set for search engines and catalogues (schema.org `Dataset`, as JSON-LD 1.1).

use serde_json::{Value, json};

use crate::web::api::LensDocument;

/// Where the licence is.
const LICENCE_URL: &str = "https://creativecommons.org/licenses/by/4.0/";

/// The text of the data block; `None` where nothing is published. It holds no `<`, so that it can't end the element
/// that it stands in.
pub(super) fn data_set(document: &LensDocument, site: &str) -> Option<String> {
    let lens = &document.lens;
    if document.results.is_empty() {
        return None;
    }
    let dates: Vec<&str> = document
        .history
        .iter()
        .filter_map(|entry| entry.at.get(..10))
        .collect();
    let mut creators: Vec<&String> = document
        .results
        .iter()
        .flat_map(|focal| &focal.reviewers)
        .collect();
    creators.sort();
    creators.dedup();
    let publisher = json!({ "@type": "Organization", "name": "Breathmark", "url": site });
    let mut makers: Vec<Value> = creators
        .iter()
        .map(|name| json!({ "@type": "Person", "name": name }))
        .collect();
    if makers.is_empty() {
        makers.push(publisher.clone());
    }
    let keywords = [
        "lens breathing",
        "focus breathing",
        "angle of view",
        "focal length",
        &lens.maker,
        &lens.mount,
    ];
    let mut results = document.results.iter();
    let (until, against) = if results.any(|focal| focal.relative_to == "farthest_frame") {
        (
            "to the farthest frame, not always infinity",
            "relative to infinity or, where relative_to says so, to the farthest frame, so that the true shift may be larger",
        )
    } else {
        ("to infinity", "relative to infinity")
    };
    let is_late = document
        .results
        .iter()
        .any(|focal| focal.focuses_to_m.is_some());
    let from = match is_late {
        true => "the nearest frame that was measured, not always closest focus,",
        false => "closest focus",
    };
    let worst_shift =
        format!("Shift of the picture scale of largest magnitude, {against}; positive is tighter");
    let description = format!(
        "How much the {} changes its framing while it is refocused, measured from focus brackets of two targets, from \
         {from} {until}. {}",
        lens.name(),
        document.verdict.as_deref().unwrap_or_default()
    );
    let download = |kind: &str, address: String| json!({ "@type": "DataDownload", "encodingFormat": kind, "contentUrl": address });
    let variable = |name: &str, unit: &str, what: &str| json!({ "@type": "PropertyValue", "name": name, "unitText": unit, "description": what });
    let data_set = json!({
        "@context": "https://schema.org",
        "@type": "Dataset",
        "@id": lens.url,
        "name": format!("Lens breathing of the {}", lens.name()),
        "description": description,
        "url": lens.url,
        "identifier": lens.url,
        "keywords": keywords,
        "license": LICENCE_URL,
        "isAccessibleForFree": true,
        "inLanguage": "en",
        "creator": makers,
        "publisher": publisher,
        "datePublished": dates.last(),
        "dateModified": dates.first(),
        "measurementTechnique": format!("{site}/method"),
        "variableMeasured": [
            variable("worst_shift_pct", "per cent", &worst_shift),
            variable("tolerance_distance_m", "m", "Farthest focus distance at which the shift exceeds the tolerance"),
        ],
        "distribution": [
            download("application/json", format!("{site}/lenses/{}.json", lens.slug)),
            download("text/csv", format!("{site}/lenses/{}.csv", lens.slug)),
        ],
        "includedInDataCatalog": { "@type": "DataCatalog", "name": "Breathmark", "url": format!("{site}/lenses") },
    });
    Some(data_set.to_string().replace('<', "\\u003c"))
}
