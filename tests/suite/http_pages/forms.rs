//! Forms of reader pages: a value that can't be used is complained of at its field and kept there, and the page answers the
//! rest of the question; feet and inches are distances everywhere.

use axum::http::StatusCode;

use super::site::{Answer, Site, curve, off, without_distances};
use breathmark::store::Switch;

const ZOOM: &str = "/lenses/ostrel-28-135-f-3-5";
const BOTH: &str = "lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4";

/// The text of a page, its no-break spaces as spaces.
fn text(answer: &Answer) -> String {
    answer.text().replace('\u{a0}', " ")
}

/// The opening tag of the element with this id.
fn tag<'a>(page: &'a str, id: &str) -> &'a str {
    let at = page
        .find(&format!("id=\"{id}\""))
        .unwrap_or_else(|| panic!("{id} in {page}"));
    let start = page[..at].rfind('<').expect("a tag");
    let end = at + page[at..].find('>').expect("its end");
    &page[start..=end]
}

#[tokio::test]
async fn a_wrong_value_is_complained_of_at_its_field_and_the_page_stays() {
    let site = Site::with_lenses().await;
    let scale = format!("{ZOOM}/counter-scale");
    let compare = format!("/compare?{BOTH}&");
    let lens_table = "aria-label=\"Shift by focal length\"";
    for (path, wrong, useful) in [
        (
            format!("{ZOOM}?"),
            &[("tolerance_pct", "abc")][..],
            lens_table,
        ),
        (
            format!("{ZOOM}?"),
            &[("from_m", "0"), ("to_m", "near")],
            lens_table,
        ),
        (
            format!("{ZOOM}?"),
            &[("picture_width_px", "wide"), ("tolerance_pct", "-1")],
            lens_table,
        ),
        (
            format!("{scale}?"),
            &[("hold_m", "loose"), ("focal_mm", "fifty")],
            "aria-label=\"Counter-scale\"",
        ),
        (
            format!("{scale}?"),
            &[("step_m", "0"), ("far_m", "x")],
            "aria-label=\"Counter-scale\"",
        ),
        (
            format!("{scale}?"),
            &[("conditions", "correction-on.compensation-on")],
            "aria-label=\"Counter-scale\"",
        ),
        (
            compare.clone(),
            &[("focal_mm", "0"), ("from_m", "0")],
            "Lenses side by side",
        ),
        (
            compare.clone(),
            &[("tolerance_pct", "abc"), ("picture_width_px", "1")],
            "Lenses side by side",
        ),
        (
            compare.clone(),
            &[("conditions", "sunny")],
            "Lenses side by side",
        ),
        (
            "/lenses?mount=Skerry+bayonet&".to_owned(),
            &[("focal_mm", "wide"), ("holds_from_m", "0")],
            "Brackwell Pier 50",
        ),
        (
            "/lenses?".to_owned(),
            &[
                ("tolerance_pct", "NaN"),
                ("kind", "toaster"),
                ("direction", "up"),
            ],
            "Brackwell Pier 50",
        ),
        (
            "/lenses?".to_owned(),
            &[("conditions", "sunny"), ("q", "\u{3b1}".repeat(201).leak())],
            "Brackwell Pier 50",
        ),
        (
            "/plan?max_aperture=2&".to_owned(),
            &[("focal_mm", "28 wide"), ("closest_focus_m", "0")],
            "How far the targets",
        ),
    ] {
        let query: Vec<String> = wrong
            .iter()
            .map(|(name, value)| format!("{name}={}", value.replace(' ', "+")))
            .collect();
        let address = format!("{path}{}", query.join("&"));
        let answer = site.get(&address).await;
        let page = text(&answer);
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{address}: {page}"
        );
        assert!(page.contains(useful), "{address}: {page}");
        assert!(page.contains("role=\"alert\" id=\"mend\""), "{address}");
        for (name, value) in wrong {
            assert!(
                page.contains(&format!("<a href=\"#{name}\">")),
                "{name}: {address}"
            );
            let field = tag(&page, name);
            assert!(field.contains("aria-invalid=\"true\""), "{field}");
            assert!(
                field.contains(&format!("aria-describedby=\"{name}-error")),
                "{field}"
            );
            let complaint = tag(&page, &format!("{name}-error"));
            assert!(complaint.contains("field-error"), "{complaint}");
            if field.starts_with("<input") {
                assert!(field.contains(&format!("value=\"{value}\"")), "{field}");
            }
        }
    }
}

/// What is not a field of a form is named too, and its page still answers.
#[tokio::test]
async fn a_wrong_word_in_an_address_costs_no_page() {
    let site = Site::with_lenses().await;
    for (address, field, useful) in [
        (format!("{ZOOM}?axis=z"), "axis", "Shift by focal length"),
        (
            "/lenses?sort=prettiest".to_owned(),
            "sort",
            "Brackwell Pier 50",
        ),
        (
            "/lenses?cursor=abc&q=ostrel".to_owned(),
            "cursor",
            "Ostrel 28-135",
        ),
        (
            format!("/compare?{BOTH}&axis=z"),
            "axis",
            "Lenses side by side",
        ),
        (
            "/plan?lens=nobody-has-it".to_owned(),
            "lens",
            "Focal lengths, mm",
        ),
    ] {
        let answer = site.get(&address).await;
        let page = text(&answer);
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{address}");
        assert!(
            page.contains(&format!("<b>{field}</b>: ")),
            "{address}: {page}"
        );
        assert!(page.contains(useful), "{address}: {page}");
    }
}

#[tokio::test]
async fn half_a_pull_asks_for_the_other_half() {
    let site = Site::with_lenses().await;
    for path in [format!("{ZOOM}?"), format!("/compare?{BOTH}&")] {
        let page = text(&site.get(&format!("{path}from_m=3&tolerance_pct=1")).await);
        assert!(tag(&page, "to_m").contains("aria-invalid"), "{page}");
        assert!(!tag(&page, "from_m").contains("aria-invalid"), "{page}");
        assert!(tag(&page, "from_m").contains("value=\"3\""), "{page}");
        assert!(
            page.contains("Beyond 1 % nearer than"),
            "the tolerance holds"
        );
    }
}

#[tokio::test]
async fn an_unknown_lens_is_named_and_the_others_are_compared() {
    let site = Site::with_lenses().await;
    let answer = site
        .get(&format!("/compare?{BOTH}&lens=nobody-has-it"))
        .await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    let page = text(&answer);
    assert!(
        page.contains("there is no such lens as “nobody-has-it”"),
        "{page}"
    );
    assert!(
        tag(&page, "lens-3").contains("aria-invalid=\"true\""),
        "{page}"
    );
    assert!(!tag(&page, "lens-1").contains("aria-invalid"), "{page}");
    assert!(page.contains("Lenses side by side"), "the two others");
    let many = "lens=a&lens=b&lens=c&lens=d&lens=e";
    let answer = site.get(&format!("/compare?{many}")).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.text().contains("two to four lenses"));
}

/// Programs get no half answer: the twins of these pages refuse.
#[tokio::test]
async fn twins_refuse_what_pages_complain_of() {
    let site = Site::with_lenses().await;
    for address in [
        "/lenses.json?tolerance_pct=abc".to_owned(),
        "/lenses.csv?kind=toaster".to_owned(),
        format!("{ZOOM}.json?tolerance_pct=abc"),
        format!("{ZOOM}/counter-scale.csv?step_m=0"),
        format!("/compare.json?{BOTH}&conditions=correction-on.compensation-on"),
    ] {
        let answer = site.get(&address).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{address}");
        let kind = answer.header(axum::http::header::CONTENT_TYPE);
        assert!(!kind.contains("csv"), "{address}: {kind}");
        assert!(
            !answer.text().contains("<form class=\"filters"),
            "{address}"
        );
    }
}

/// 9'10" is 2.9972 m.
#[tokio::test]
async fn feet_and_inches_are_understood_wherever_a_distance_is_typed() {
    let site = Site::with_lenses().await;
    for (address, words) in [
        (
            format!("{ZOOM}?from_m=9'10%22&to_m=1"),
            "from 9 ft 10 in to 1 m",
        ),
        (
            format!("/compare?{BOTH}&from_m=9%E2%80%B210%E2%80%B3&to_m=1"),
            "from 9 ft 10 in to 1 m",
        ),
        (
            format!("{ZOOM}/counter-scale?hold_m=9ft10in"),
            "the framing at 9 ft 10 in is held",
        ),
        (
            format!("{ZOOM}/counter-scale?step_m=1'&far_m=10'"),
            "<th scope=\"row\">10 ft (3.05 m)</th>",
        ),
        (
            "/lenses?holds_from_m=1%E2%80%996%E2%80%9D".to_owned(),
            "holds from 1’6” on",
        ),
        (
            "/plan?focal_mm=50&max_aperture=2&closest_focus_m=1'6%22&target_distance_m=6+ft+6+in"
                .to_owned(),
            "1.98 m (6 ft 6 in)",
        ),
    ] {
        let answer = site.get(&address).await;
        let page = text(&answer);
        assert_eq!(answer.status, StatusCode::OK, "{address}: {page}");
        assert!(page.contains(words), "{address}: {page}");
    }
    let narrowed = site
        .get("/lenses.json?holds_from_m=1'6%22&tolerance_pct=1")
        .await
        .json();
    let plain = site
        .get("/lenses.json?holds_from_m=0.4572&tolerance_pct=1")
        .await
        .json();
    assert_eq!(narrowed, plain);
}

#[tokio::test]
async fn the_compare_form_keeps_the_whole_question() {
    let site = Site::with_lenses().await;
    let page = text(
        &site
            .get(&format!("/compare?{BOTH}&axis=travel&focal_mm=50"))
            .await,
    );
    let form = page
        .split("</form>")
        .find(|part| part.contains("action=\"/compare#"));
    let form = form.expect("the form");
    assert!(
        form.contains("<input type=\"hidden\" name=\"axis\" value=\"travel\">"),
        "{form}"
    );
    let ranking = text(
        &site
            .get("/lenses?sort=name&order=desc&min_focal_mm=20")
            .await,
    );
    for hidden in [
        "name=\"sort\" value=\"name\"",
        "name=\"order\" value=\"desc\"",
    ] {
        assert!(
            ranking.contains(&format!("<input type=\"hidden\" {hidden}>")),
            "{hidden}"
        );
    }
}

/// Two lenses have results with and without compensation, a third only without.
#[tokio::test]
async fn the_conditions_of_a_comparison_can_be_chosen() {
    let site = Site::with_lenses().await;
    let mut on = off();
    on.breathing_compensation = Switch::On;
    for (maker, model, focal, worst) in [
        ("Ostrel", "Skua 40 f/2", 40.0, 0.4),
        ("Tindra", "Ness 40 f/2", 40.0, 0.6),
    ] {
        let lens = site.lens(maker, model, (focal, focal)).await;
        site.publish(&lens, &off(), curve(focal, 3.0, 0.4)).await;
        site.publish(&lens, &on, curve(focal, worst, 0.4)).await;
    }
    let three = "lens=ostrel-skua-40-f-2&lens=tindra-ness-40-f-2&lens=brackwell-pier-50-f-1-8";
    let (usual, other) = (
        "correction-off.compensation-off",
        "correction-off.compensation-on",
    );
    let page = text(&site.get(&format!("/compare?{three}")).await);
    assert!(
        page.contains(&format!("<option value=\"{usual}\" selected>")),
        "{page}"
    );
    assert!(
        page.contains("breathing compensation on (2)</option>"),
        "{page}"
    );
    assert!(!page.contains("Correction in the camera differs"), "{page}");
    let query = format!("{three}&conditions={other}");
    let chosen = text(&site.get(&format!("/compare?{query}")).await);
    assert!(
        chosen.contains(&format!("<option value=\"{other}\" selected>")),
        "{chosen}"
    );
    let said = chosen
        .find("Correction in the camera differs. Ostrel Skua 40 f/2: ")
        .expect("said");
    assert!(
        said < chosen.find("<figure").expect("a chart"),
        "said first"
    );
    assert!(
        chosen.contains(&format!("conditions={other}</span>")),
        "the address to share"
    );
    let twin = site.get(&format!("/compare.json?{query}")).await.json();
    assert_eq!(twin["conditions"], other);
    for (lens, worst) in [(0, 0.4), (1, 0.6), (2, 0.3)] {
        let told = twin["lenses"][lens]["result"]["worst_shift_pct"]
            .as_f64()
            .expect("a shift");
        // Raw numbers of a straight curve.
        assert!((told - worst).abs() < 1e-9, "{twin}");
    }
    let picture = site.get(&format!("/charts/compare.svg?{query}")).await;
    assert_eq!(picture.status, StatusCode::OK);
}

#[tokio::test]
async fn a_lens_without_distances_is_not_said_to_be_unmeasured() {
    let site = Site::with_lenses().await;
    let lens = site.lens("Ostrel", "Wide 16 f/2.8", (16.0, 16.0)).await;
    site.publish(&lens, &off(), without_distances(curve(16.0, 2.8, 0.3)))
        .await;
    let pair = format!("/compare?lens={}&lens=tindra-sound-85-f-1-4", lens.slug);
    let page = text(&site.get(&pair).await);
    let (_, table) = page.split_once("The chart in numbers").expect("a table");
    let table = table.split("</table>").next().expect("its end");
    assert!(
        table.contains("distance unknown") && !table.contains("not measured"),
        "{table}"
    );
    let travel = text(&site.get(&format!("{pair}&axis=travel")).await);
    let (_, table) = travel.split_once("The chart in numbers").expect("a table");
    let table = table.split("</table>").next().expect("its end");
    assert!(
        !table.contains("distance unknown"),
        "along travel all is known"
    );
}
