//! What the pages say.

use axum::http::StatusCode;
use axum::http::header;

use super::site::{NOW, Site, curve, off};

/// Every address of a reader page.
const PAGES: [&str; 13] = [
    "/",
    "/lenses",
    "/lenses?q=ostrel&sort=name",
    "/lenses/ostrel-28-135-f-3-5",
    "/lenses/ostrel-28-135-f-3-5?tolerance_pct=1&axis=travel&from_m=3&to_m=1",
    "/lenses/ostrel-28-135-f-3-5/counter-scale?step_m=0.1",
    "/lenses/tindra-reef-35-f-2/counter-scale",
    "/embed/lens/ostrel-28-135-f-3-5",
    "/compare",
    "/compare?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4",
    "/plan?focal_mm=85&max_aperture=1.8&closest_focus_m=0.8",
    "/method",
    "/api",
];

#[tokio::test]
async fn every_page_is_whole_and_keeps_the_policy() {
    let site = Site::with_lenses().await;
    for path in PAGES {
        let answer = site.get(path).await;
        let text = answer.text();
        assert_eq!(answer.status, StatusCode::OK, "{path}: {text}");
        assert!(text.contains("<main id=\"main\""), "{path}");
        assert_eq!(text.matches("<h1").count(), 1, "{path}");
        let policy = answer.header(header::CONTENT_SECURITY_POLICY);
        assert!(policy.contains("default-src 'none'"), "{path}: {policy}");
        for forbidden in [" style=\"", "<style", "onclick=", "javascript:", "<script>"] {
            assert!(!text.contains(forbidden), "{path} holds {forbidden}");
        }
        assert!(text.len() < 150_000, "{path} weighs {} bytes", text.len());
        assert!(!text.contains("NaN") && !text.contains("inf %"), "{path}");
    }
}

#[tokio::test]
async fn an_empty_site_says_so() {
    let site = Site::new().await;
    assert!(
        site.get("/")
            .await
            .text()
            .contains("Nothing is published yet")
    );
    let list = site.get("/lenses").await;
    assert!(list.text().contains("No lens fits"));
}

#[tokio::test]
async fn the_ranking_puts_the_quiet_lens_first_and_the_unmeasured_last_both_ways() {
    let site = Site::with_lenses().await;
    for (query, order) in [
        (
            "",
            ["brackwell-pier", "ostrel-28", "tindra-sound", "tindra-reef"],
        ),
        (
            "?sort=worst_shift&order=desc",
            ["tindra-sound", "ostrel-28", "brackwell-pier", "tindra-reef"],
        ),
        // Never exceeded; 2 % at 1/0.97 = 1.03 m; 2 % of 5.2 % at 0.8 m is reached at 2.08 m.
        (
            "?sort=tolerance_distance",
            ["brackwell-pier", "ostrel-28", "tindra-sound", "tindra-reef"],
        ),
        (
            "?sort=tolerance_distance&tolerance_pct=0.2",
            ["brackwell-pier", "ostrel-28", "tindra-sound", "tindra-reef"],
        ),
    ] {
        let text = site.get(&format!("/lenses{query}")).await.text();
        let places: Vec<Option<usize>> = order
            .iter()
            .map(|slug| text.find(&format!("href=\"/lenses/{slug}")))
            .collect();
        assert!(places.iter().all(Option::is_some), "{query}: {places:?}");
        assert!(places.is_sorted(), "{query}: {places:?}");
        assert!(text.contains("not measured"));
        assert!(
            text.contains("3 lenses ranked, 1 not measured yet"),
            "{query}"
        );
    }
    let sorted = site.get("/lenses?sort=worst_shift").await.text();
    assert!(sorted.contains("aria-sort=\"ascending\""));
}

#[tokio::test]
async fn searches_find_what_people_mean() {
    let site = Site::with_lenses().await;
    for (query, found) in [
        ("q=50+1.8", "brackwell-pier-50"),
        ("q=28-135", "ostrel-28-135"),
        ("q=sound", "tindra-sound"),
        ("focal_mm=120", "ostrel-28-135"),
        ("holds_from_m=0.3", "brackwell-pier-50"),
    ] {
        let text = site.get(&format!("/lenses?{query}")).await.text();
        assert!(text.contains(&format!("href=\"/lenses/{found}")), "{query}");
        assert!(text.contains(": 1 lens ranked."), "{query}: {text}");
        assert!(text.contains("Take away"), "{query} has a chip");
    }
    let nothing = site.get("/lenses?q=no+such+glass").await.text();
    assert!(nothing.contains("No lens fits"));
}

#[tokio::test]
async fn the_lens_page_tells_the_zoom_as_it_was_measured() {
    let site = Site::with_lenses().await;
    let text = site.get("/lenses/ostrel-28-135-f-3-5").await.text();
    let text = text.replace('\u{a0}', " ");
    for words in [
        "It gets wider at some focal lengths and tighter at others, at most by 4.30 %, at 135 mm",
        "−1.40 % ± 0.01",
        "+4.30 % ± 0.01",
        "140.8 mm",
        "never exceeded",
        "Ostrel Bench 6",
        "f/5.6",
        "Ines",
        "version 1 published",
        "https://lens.example/lenses/ostrel-28-135-f-3-5",
        "CC BY 4.0",
        "distortion correction off, breathing compensation off",
    ] {
        assert!(text.contains(words), "{words}");
    }
    // 2 % of 4.3 % at 0.45 m: 0.45 · 4.3 / 2 = 0.9675 m, rounded up.
    assert!(text.contains("0.968 m (3 ft 2.1 in)"), "tolerance distance");
    let strict = site
        .get("/lenses/ostrel-28-135-f-3-5?tolerance_pct=1.5")
        .await;
    // The same at 1.5 %: 1.29 m.
    assert!(strict.text().contains("1.29 m (4 ft 3 in)"), "stricter");
}

#[tokio::test]
async fn a_focus_pull_is_answered_and_never_extrapolated() {
    let site = Site::with_lenses().await;
    let page = "/lenses/tindra-sound-85-f-1-4?from_m=inf&to_m=1.6&picture_width_px=4000";
    let text = site.get(page).await.text();
    // Half the dioptres of 0.8 m: half of −5.2 %; the edge of 4000 px moves by 52 px.
    assert!(text.contains("−2.60\u{a0}%"), "framing change");
    // Both ends uncertain by 0.004 % and by 0.001 dioptres where 1.25 of them make 5.2 %: 0.008 % of 2000 px, k = 2.
    let plain = text.replace('\u{a0}', " ");
    assert!(plain.contains("52.0 ± 0.3 px inwards"));
    // 1/0.974: the widest moment has to be enlarged by 1.0267, which costs 2.6 %.
    assert!(text.contains("2.60\u{a0}% (enlarge by 1.0267)"));
    let near = site
        .get("/lenses/tindra-sound-85-f-1-4?from_m=3&to_m=0.5")
        .await;
    assert!(
        near.text()
            .contains("not measured closer than 0.8\u{a0}m (2\u{a0}ft\u{a0}7.5\u{a0}in)")
    );
}

#[tokio::test]
async fn unknown_lenses_are_404_and_offer_a_search() {
    let site = Site::with_lenses().await;
    let answer = site.get("/lenses/ostrel-99").await;
    assert_eq!(answer.status, StatusCode::NOT_FOUND);
    assert!(answer.text().contains("value=\"ostrel 99\""));
    let nowhere = site.get("/nowhere").await.text();
    assert!(
        nowhere.contains("role=\"search\""),
        "no dead end: {nowhere}"
    );
    let slip = site.get("/lenses/osterl-28-135-f-9").await.text();
    assert!(
        slip.contains("Perhaps you mean") && slip.contains(">ostrel 28"),
        "{slip}"
    );
    for path in [
        "/lenses/ostrel-99.json",
        "/api/v1/lenses/ostrel-99",
        "/charts/lens/ostrel-99.svg",
        "/compare?lens=ostrel-99&lens=ostrel-98",
        "/api/v1/sweeps/999999",
        "/api/v1/sweeps/x",
    ] {
        assert_eq!(site.get(path).await.status, StatusCode::NOT_FOUND, "{path}");
    }
}

#[tokio::test]
async fn absurd_numbers_are_422_and_name_the_field() {
    let site = Site::with_lenses().await;
    for (path, field) in [
        ("/lenses?focal_mm=-1", "focal_mm"),
        ("/lenses?tolerance_pct=NaN", "tolerance_pct"),
        ("/lenses?tolerance_pct=1e9", "tolerance_pct"),
        ("/lenses?sort=prettiest", "sort"),
        ("/lenses?kind=toaster", "kind"),
        ("/lenses?conditions=sunny", "conditions"),
        ("/lenses?holds_from_m=0", "holds_from_m"),
        ("/lenses/ostrel-28-135-f-3-5?axis=z", "axis"),
        ("/lenses/ostrel-28-135-f-3-5?from_m=3", "to_m"),
        ("/lenses/ostrel-28-135-f-3-5?from_m=-3&to_m=1", "from_m"),
        ("/compare?lens=a&lens=b&lens=c&lens=d&lens=e", "lens"),
        ("/compare.json?lens=a", "lens"),
        ("/api/v1/lenses?limit=0", "limit"),
        ("/api/v1/lenses?cursor=abc", "cursor"),
        ("/api/v1/compare", "lens"),
        ("/api/v1/lenses/ostrel-28-135-f-3-5/pull", "from_m"),
        ("/charts/lens/ostrel-28-135-f-3-5.png?width=100000", "width"),
        ("/charts/lens/ostrel-28-135-f-3-5.png?height=0", "height"),
        ("/charts/lens/ostrel-28-135-f-3-5.svg?theme=pink", "theme"),
        ("/plan?focal_mm=50", "max_aperture"),
        ("/plan?lens=nobody-has-it", "lens"),
        (
            "/plan?focal_mm=1+2+3+4+5+6+7+8+9+10+11+12+13&max_aperture=2&closest_focus_m=1",
            "focal_mm",
        ),
        (
            "/plan?focal_mm=28+wide&max_aperture=2&closest_focus_m=1",
            "focal_mm",
        ),
        (
            "/plan?focal_mm=0&max_aperture=2&closest_focus_m=1",
            "focal_mm",
        ),
        (
            "/plan?focal_mm=85&max_aperture=2&closest_focus_m=1&target_distance_m=0.16",
            "0.17 m at the least",
        ),
        (
            "/plan.json?focal_mm=85&max_aperture=2&closest_focus_m=1&f_number=1.4",
            "f_number",
        ),
    ] {
        let answer = site.get(path).await;
        assert_eq!(
            answer.status,
            StatusCode::UNPROCESSABLE_ENTITY,
            "{path}: {}",
            answer.text()
        );
        assert!(answer.text().contains(field), "{path}: {}", answer.text());
    }
}

#[tokio::test]
async fn what_people_type_is_escaped() {
    let site = Site::with_lenses().await;
    let evil = site
        .lens("<b>Evil</b>", "\"><script>alert(1)</script>", (50.0, 50.0))
        .await;
    site.publish(&evil, &off(), curve(50.0, 1.0, 0.5)).await;
    for path in [
        "/lenses?q=%22%3E%3Cscript%3Ealert(1)%3C/script%3E".to_owned(),
        "/lenses/%22%3E%3Cscript%3E".to_owned(),
        "/lenses".to_owned(),
        format!("/lenses/{}", evil.slug),
        format!("/compare?lens={}&lens=ostrel-28-135-f-3-5", evil.slug),
    ] {
        let text = site.get(&path).await.text();
        assert!(!text.contains("<script>"), "{path}");
        assert!(!text.contains("<b>Evil"), "{path}");
    }
}

#[tokio::test]
async fn other_conditions_are_ranked_apart_and_said() {
    let site = Site::with_lenses().await;
    let corrected = site.lens("Brackwell", "Mole 24 f/2", (24.0, 24.0)).await;
    let mut on = off();
    on.breathing_compensation = breathmark::store::Switch::On;
    site.publish(&corrected, &on, curve(24.0, 0.05, 0.3)).await;
    let ranked = site.get("/lenses").await.text();
    let first = ranked.find("brackwell-pier-50").expect("ranked");
    let apart = ranked
        .find("href=\"/lenses/brackwell-mole-24")
        .expect("listed");
    assert!(first < apart, "compensated lenses do not lead");
    assert!(ranked.contains("ranked apart"));
    let under = site
        .get("/lenses?conditions=correction-off.compensation-on")
        .await
        .text();
    assert!(under.contains("+0.05\u{a0}%"));
    // A lens under both: a pull says which it is of.
    let both = site.lens("Brackwell", "Vole 24 f/2", (24.0, 24.0)).await;
    site.publish(&both, &on, curve(24.0, 0.05, 0.3)).await;
    site.publish(&both, &off(), curve(24.0, 2.0, 0.3)).await;
    for (asked, change) in [("on", 0.05), ("off", 2.0)] {
        let pull = format!(
            "/api/v1/lenses/brackwell-vole-24-f-2/pull?from_m=inf&to_m=0.3&conditions=correction-off.compensation-{asked}"
        );
        let pull = site.get(&pull).await.json();
        assert_eq!(
            pull["conditions"],
            format!("correction-off.compensation-{asked}")
        );
        let told = pull["pulls"][0]["framing_change_pct"].as_f64();
        assert!(
            told.is_some_and(|told| (told - change).abs() < 0.01),
            "{pull}"
        );
    }
    let compared = site
        .get("/compare?lens=brackwell-mole-24-f-2&lens=brackwell-pier-50-f-1-8")
        .await
        .text();
    let warning = compared.find("not measured alike").expect("said");
    let chart = compared.find("<figure").expect("a chart");
    assert!(warning < chart, "differences come before the numbers");
    assert!(compared.contains("breathing compensation on"));
}

#[tokio::test]
async fn withdrawn_results_leave_the_pages_and_the_reason_stays() {
    let site = Site::new().await;
    let lens = site.lens("Tindra", "Sound 85 f/1.4", (85.0, 85.0)).await;
    let sweep = site.publish(&lens, &off(), curve(85.0, 3.0, 0.8)).await;
    site.withdraw(sweep, "the tripod was bumped", NOW + 1000)
        .await;
    let text = site.get("/lenses/tindra-sound-85-f-1-4").await.text();
    assert!(text.contains("Withdrawn: what was published"), "{text}");
    assert!(text.contains("the tripod was bumped"));
    let embed = site.get("/embed/lens/tindra-sound-85-f-1-4").await.text();
    assert!(embed.contains("Withdrawn: what was published"), "{embed}");
    let api = site.get(&format!("/api/v1/sweeps/{sweep}")).await;
    assert_eq!(api.status, StatusCode::GONE);
    assert!(api.text().contains("the tripod was bumped"));
}

#[tokio::test]
async fn a_plan_with_a_wrong_number_keeps_the_form() {
    let site = Site::new().await;
    let path = "/plan?focal_mm=28+wide&max_aperture=2&closest_focus_m=1";
    let answer = site.get(path).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    let page = answer.text();
    for words in [
        "There is no plan yet",
        "<a href=\"#focal_mm\">Focal lengths</a>",
        "value=\"28 wide\"",
        "aria-invalid=\"true\"",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

/// A zoom is planned at all its marked focal lengths on one sheet; what a lens says of itself need not be typed.
#[tokio::test]
async fn a_plan_has_a_sheet_for_every_focal_length() {
    let site = Site::with_lenses().await;
    let text = |path: &'static str| {
        let site = &site;
        async move {
            let answer = site.get(path).await;
            assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text());
            answer.text().replace('\u{a0}', " ")
        }
    };
    let typed = text("/plan?focal_mm=135+28;50+28&max_aperture=4&closest_focus_m=0.6").await;
    assert_eq!(
        typed.matches("class=\"plan-sheet\"").count(),
        3,
        "28 is there once"
    );
    let place = |words: &str| {
        typed
            .find(words)
            .unwrap_or_else(|| panic!("{words} in {typed}"))
    };
    assert!(place(">28 mm</h2>") < place(">50 mm</h2>"));
    assert!(place(">50 mm</h2>") < place(">135 mm</h2>"));
    let named = text("/plan?lens=ostrel-28-135-f-3-5").await;
    for words in [">28 mm</h2>", ">135 mm</h2>", "name=\"lens\""] {
        assert!(named.contains(words), "{words} in {named}");
    }
    let changed = text("/plan?lens=ostrel-28-135-f-3-5&focal_mm=75").await;
    assert_eq!(
        changed.matches("class=\"plan-sheet\"").count(),
        1,
        "what is typed counts"
    );
}
