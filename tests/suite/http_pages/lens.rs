//! The page of a lens: scale and angle told apart, axes, charts, lists, links, and the method behind it.

use axum::http::{StatusCode, header};
use breathmark::sweep::{Code, Part};

use super::site::{NOW, Site, ZOOM, curve, off};

const PAGE: &str = "/lenses/ostrel-28-135-f-3-5";

async fn text(site: &Site, path: &str) -> String {
    let answer = site.get(path).await;
    assert_eq!(answer.status, StatusCode::OK, "{path}");
    let text = answer.text().replace('\u{a0}', " ");
    text.replace("&#38;", "&").replace("&#39;", "'")
}

/// 2·atan(18 mm / f) before, and with f·(1 + shift) after.
#[tokio::test]
async fn picture_scale_and_angle_of_view_stand_side_by_side() {
    let site = Site::with_lenses().await;
    let page = text(&site, PAGE).await;
    let twin = site.get(&format!("{PAGE}.json")).await.json();
    let results = twin["results"].as_array().expect("results");
    for (result, (focal, worst)) in results.iter().zip(ZOOM) {
        let angle = |focal: f64| 2.0 * (18.0 / focal).atan().to_degrees();
        let (before, after) = (angle(focal), angle(focal * (1.0 + worst / 100.0)));
        let told = |name: &str| result[name].as_f64().expect(name);
        assert!((told("angle_of_view_deg") - before).abs() < 1e-9);
        assert!((told("angle_of_view_worst_deg") - after).abs() < 1e-9);
        assert!((told("angle_change_pct") - 100.0 * (after / before - 1.0)).abs() < 1e-9);
        // What a standard uncertainty more of shift would do; far below 1e-6 the angle is not straight any more.
        let u = told("worst_shift_u_pct");
        let more = (angle(focal * (1.0 + (worst + u) / 100.0)) - after).abs();
        assert!(u > 0.0 && (told("angle_of_view_worst_u_deg") - more).abs() < 1e-6);
        assert!((told("angle_change_u_pct") - 100.0 * more / before).abs() < 1e-5);
        assert!((told("equivalent_focal_length_u_mm") - focal * u / 100.0).abs() < 1e-9);
        let like = format!("{:.1} mm ± 0.1", focal * (1.0 + worst / 100.0));
        assert!(page.contains(&like), "{like}");
        let shown = format!("{before:.1}° → {after:.1}° (");
        assert!(page.contains(&shown), "{shown}");
    }
    // A tighter picture has a narrower angle: the signs are opposite, and the page says why.
    assert!(page.contains("+4.30 % ± 0.01") && page.contains("14.6° (−4.1 % ± 0.1)"));
    for words in ["<b>picture scale</b>", "<b>angle of view</b>", "36 mm wide"] {
        assert!(page.contains(words), "{words}");
    }
    let csv = site.get(&format!("{PAGE}.csv")).await.text();
    let header = csv.lines().next().expect("a header");
    for column in [
        "equivalent_focal_length_u_mm",
        "angle_change_pct",
        "angle_change_u_pct",
    ] {
        assert!(header.split(',').any(|name| name == column), "{header}");
    }
}

#[tokio::test]
async fn lenses_marked_in_t_stops_are_listed_by_them_alone() {
    let site = Site::new().await;
    // The lenses of this site have 2.8 as their smallest number.
    for (model, shown, hidden) in [
        ("Cine 35 mm T2.8", "T2.8 (T-stop)", "f/2.8"),
        ("Sound 85 mm f/2.8", "f/2.8", "T-stop"),
        ("Tele 100", "f/2.8", "T-stop"),
    ] {
        let lens = site.lens("Tindra", model, (35.0, 35.0)).await;
        let page = text(&site, &format!("/lenses/{}", lens.slug)).await;
        let about = page
            .split("<p class=\"quiet\">")
            .nth(1)
            .expect("what it is");
        let about = about.split("</p>").next().expect("its end");
        assert!(about.contains(shown) && !about.contains(hidden), "{about}");
        let twin = site
            .get(&format!("/lenses/{}.json", lens.slug))
            .await
            .json();
        let marking = if shown.starts_with('T') { "T" } else { "f" };
        assert_eq!(twin["lens"]["aperture_marking"], marking, "{model}");
    }
    let method = text(&site, "/method").await;
    assert!(method.contains("T-stop") && method.contains("the light that comes through"));
}

#[tokio::test]
async fn every_focal_length_on_one_plot_and_each_alone_along_either_axis() {
    let site = Site::with_lenses().await;
    for (axis, other) in [("distance", "travel"), ("travel", "distance")] {
        let page = text(&site, &format!("{PAGE}?axis={axis}")).await;
        assert!(page.contains(&format!("data-axis=\"{axis}\"")));
        assert!(
            page.contains(&format!("href=\"{PAGE}?axis={other}\"")),
            "the other one is offered"
        );
        for (focal, _) in ZOOM {
            assert!(
                page.contains(&format!(">{focal} mm</text>")),
                "{focal} mm is labelled"
            );
        }
        let (_, alone) = page.split_once("Each focal length alone").expect("charts");
        let addresses: Vec<&str> = alone
            .split("<img src=\"")
            .skip(1)
            .filter_map(|rest| rest.split('"').next())
            .collect();
        assert_eq!(addresses.len(), ZOOM.len());
        for (address, (focal, _)) in addresses.iter().zip(ZOOM) {
            assert!(address.contains(&format!("focal_mm={focal}&")) && address.contains(axis));
            let chart = site.get(address).await;
            assert_eq!(chart.status, StatusCode::OK, "{address}");
            assert_eq!(chart.header(header::CONTENT_TYPE), "image/svg+xml");
            assert!(
                chart.text().contains(&format!("{focal} mm: worst shift")),
                "{address}"
            );
            assert_eq!(
                chart.text().matches("worst shift").count(),
                1,
                "it is alone"
            );
        }
    }
}

/// The table beside the chart says what the curves say: a straight line over dioptres to 4.3 % at 0.45 m.
#[tokio::test]
async fn the_chart_in_numbers_is_the_chart() {
    let site = Site::with_lenses().await;
    let page = text(&site, PAGE).await;
    let (_, table) = page.split_once("The chart in numbers").expect("a table");
    for distance in [0.45, 0.5, 1.0, 2.0, 10.0] {
        let (_, row) = table
            .split_once(&format!("<th scope=\"row\">{distance} m ("))
            .unwrap_or_else(|| panic!("{distance} m"));
        let row = row.split("</tr>").next().expect("its end");
        let told: Vec<f64> = row
            .split(" % ±")
            .filter_map(|before| before.rsplit('>').next())
            .filter_map(|number| number.replace('−', "-").parse().ok())
            .collect();
        assert_eq!(told.len(), ZOOM.len(), "{row}");
        for (told, (_, worst)) in told.iter().zip(ZOOM) {
            // Two decimals.
            let off = (told - worst * 0.45 / distance).abs();
            assert!(off < 0.005 + 1e-9, "{told} at {distance} m: {row}");
        }
    }
    assert!(
        !table.contains("<th scope=\"row\">0.4 m"),
        "closer than any frame"
    );
}

#[tokio::test]
async fn the_page_leads_on_and_tells_what_changed() {
    let site = Site::with_lenses().await;
    let page = text(&site, PAGE).await;
    for address in [
        "/plan?lens=ostrel-28-135-f-3-5",
        "/compare?lens=ostrel-28-135-f-3-5",
        "/lenses/ostrel-28-135-f-3-5/counter-scale",
        "/lenses/ostrel-28-135-f-3-5.csv",
        "/sweeps/1",
    ] {
        assert!(page.contains(&format!("href=\"{address}\"")), "{address}");
        assert_eq!(site.get(address).await.status, StatusCode::OK, "{address}");
    }
    assert!(page.contains("https://lens.example/lenses/ostrel-28-135-f-3-5</a>. Data: CC BY 4.0."));
    let lens = site.lens("Ostrel", "Weir 40 f/2", (40.0, 40.0)).await;
    let kept = site.publish(&lens, &off(), curve(40.0, 1.0, 0.4)).await;
    let gone = site.publish(&lens, &off(), curve(40.0, 3.0, 0.4)).await;
    site.withdraw(gone, "the tripod was bumped", NOW + 1000)
        .await;
    let page = text(&site, "/lenses/ostrel-weir-40-f-2").await;
    let (_, log) = page
        .split_once("<h2 id=\"changes\">Changes</h2>")
        .expect("a change log");
    assert!(
        log.contains("version 1 withdrawn: the tripod was bumped"),
        "{log}"
    );
    assert!(
        log.contains(&format!("href=\"/sweeps/{kept}/versions/1\"")),
        "public"
    );
    assert!(
        !log.contains(&format!("href=\"/sweeps/{gone}")),
        "no longer public"
    );
}

#[tokio::test]
async fn a_pull_is_marked_on_the_chart_and_has_its_uncertainty_in_pixels() {
    let site = Site::with_lenses().await;
    let plain = text(&site, PAGE).await;
    let pulled = text(
        &site,
        &format!("{PAGE}?from_m=10+ft&to_m=1&picture_width_px=4096"),
    )
    .await;
    assert!(
        !plain.contains("k-pull") && pulled.contains("k-pull"),
        "marked"
    );
    assert!(pulled.contains("Focus pull from 10 ft to 1 m"));
    assert!(
        pulled.contains("± 0.2 px outwards"),
        "0.004 % each, k = 2: {pulled}"
    );
}

/// What a reader who doubts looks for.
#[tokio::test]
async fn the_method_page_explains_every_finding_formula_and_caution() {
    let site = Site::new().await;
    let page = text(&site, "/method").await;
    for code in Code::ALL {
        assert!(page.contains(&format!("id=\"{}\"", code.code())), "{code}");
        assert!(
            page.contains(code.title()) && page.contains(code.advice()),
            "{code}"
        );
    }
    for part in Part::ALL {
        assert!(page.contains(part.code()), "{part:?}");
        assert!(page.contains(part.description()), "{part:?}");
    }
    for words in [
        "<i>separation</i> ÷ <i>separation at infinity</i> − 1",
        "<i>marked focal length</i> × (1 + <i>shift</i>)",
        "2 · arctan(<i>width</i> ÷ 2 <i>f</i>)",
        "JCGM 100:2008",
        "One copy is not the model.",
        "Marked focal lengths may be off by 5 %.",
        "Distances from blur are estimates",
        "Σ <i>x</i>·<i>I</i> ÷ Σ <i>I</i>",
        "1 + <i>ρ</i> nearer than the targets, 1 − <i>ρ</i> beyond them",
        "Cramér–Rao",
        "IEC 61966-2-1",
        "<i>f</i> · <i>m</i> ÷ <i>D</i>",
        "Nothing is extrapolated.",
        "Okabe",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

/// 40 mm at +2.5 %: across 23.5 mm the angle goes from 2 · arctan(23.5 ÷ 80) to 2 · arctan(23.5 ÷ 82); across 36 mm from
/// 48.5° to 47.4°.
#[tokio::test]
async fn angles_are_those_of_the_camera_where_its_width_is_known() {
    let site = Site::new().await;
    for (model, width_mm, words, angles) in [
        (
            "Small 40 f/2",
            Some(23.5),
            "for the camera's picture, 23.5 mm wide",
            "32.7° → 32.0°",
        ),
        (
            "Plain 40 f/2",
            None,
            "for a picture 36 mm wide, as the camera's is not known",
            "48.5° → 47.4°",
        ),
    ] {
        let lens = site.lens("Ostrel", model, (40.0, 40.0)).await;
        let settings = breathmark::sweep::SweepSettings {
            sensor_width: width_mm.and_then(|mm| breathmark::units::Millimetres::new(mm).ok()),
            ..breathmark::sweep::SweepSettings::default()
        };
        site.publish_shot(&lens, &off(), settings, curve(40.0, 2.5, 0.4))
            .await;
        let page = site.get(&format!("/lenses/{}", lens.slug)).await.text();
        let page = page.replace('\u{a0}', " ").replace("&#39;", "'");
        assert!(page.contains(words), "{words}: {page}");
        assert!(page.contains(angles), "{angles}: {page}");
        let twin = site
            .get(&format!("/lenses/{}.json", lens.slug))
            .await
            .json();
        let across = twin["results"][0]["angle_across_mm"]
            .as_f64()
            .expect("a width");
        assert!((across - width_mm.unwrap_or(36.0)).abs() < 1e-12, "{twin}");
    }
}
