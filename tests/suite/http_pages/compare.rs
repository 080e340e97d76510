//! Comparisons: the nearest focal length of each, or a chosen one; what differs first; shared by address; pulls.

use axum::http::StatusCode;
use breathmark::sweep::DistanceSource;
use breathmark::units::FNumber;

use super::site::{Site, curve, off};

const BOTH: &str = "lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4";

async fn page(site: &Site, query: &str) -> String {
    let answer = site.get(&format!("/compare?{query}")).await;
    assert_eq!(answer.status, StatusCode::OK, "{query}: {}", answer.text());
    answer.text().replace('\u{a0}', " ")
}

fn focal_lengths(document: &serde_json::Value) -> Vec<f64> {
    let lenses = document["lenses"].as_array().expect("lenses");
    let focal = |lens: &serde_json::Value| lens["result"]["focal_length_mm"].as_f64();
    lenses.iter().filter_map(focal).collect()
}

#[tokio::test]
async fn matched_by_the_nearest_focal_length_or_by_a_chosen_one() {
    let site = Site::with_lenses().await;
    for (more, expected) in [
        ("", [75.0, 85.0]),
        // By ratio 100 is nearer to 90 than 75 is.
        ("&focal_mm=90", [100.0, 85.0]),
        ("&focal_mm=150", [135.0, 85.0]),
        ("&focal_mm=25", [28.0, 85.0]),
    ] {
        let twin = site
            .get(&format!("/compare.json?{BOTH}{more}"))
            .await
            .json();
        assert_eq!(focal_lengths(&twin), expected, "{more}");
        let text = page(&site, &format!("{BOTH}{more}")).await;
        let asked = more.strip_prefix("&focal_mm=").unwrap_or("85");
        for focal in expected {
            let nearest = match asked == focal.to_string() {
                true => String::new(),
                false => format!(", its nearest to {asked} mm"),
            };
            assert!(
                text.contains(&format!(">{focal} mm{nearest}</td>")),
                "{focal} mm, {more}: {text}"
            );
        }
    }
}

/// Three of four were measured at 50 mm, and so are shown there; the page says who is not.
#[tokio::test]
async fn lenses_meet_where_most_of_them_were_measured() {
    let site = Site::with_lenses().await;
    let mut asked = "lens=ostrel-28-135-f-3-5&lens=brackwell-pier-50-f-1-8".to_owned();
    for (model, focal_lengths) in [
        ("Fell 40-60", &[40.0, 50.0, 60.0][..]),
        ("Ness 105", &[105.0]),
    ] {
        let range = (focal_lengths[0], *focal_lengths.last().expect("one"));
        let lens = site.lens("Tindra", model, range).await;
        for focal in focal_lengths {
            site.publish(&lens, &off(), curve(*focal, 1.0, 0.8)).await;
        }
        asked.push_str(&format!("&lens={}", lens.slug));
    }
    // 55 mm is nearer to 60 than to 50.
    for (more, off) in [("", "50 mm"), ("&focal_mm=55", "55 mm")] {
        let twin = site
            .get(&format!("/compare.json?{asked}{more}"))
            .await
            .json();
        assert_eq!(focal_lengths(&twin), [50.0, 50.0, 50.0, 105.0], "{more}");
        assert_eq!(twin["focal_mm"], 50.0);
        let matched = "Set side by side at 50 mm, where 3 of 4 were measured; the others are shown at their nearest.";
        assert_eq!(
            twin["matched"]
                .as_str()
                .map(|m| m.replace('\u{a0}', " "))
                .as_deref(),
            Some(matched)
        );
        let text = page(&site, &format!("{asked}{more}")).await;
        assert!(text.contains(matched), "{text}");
        assert!(
            text.contains(&format!(">105 mm, its nearest to {off}</td>")),
            "{text}"
        );
    }
    let near = page(&site, &format!("{asked}&focal_mm=55")).await;
    assert!(
        near.contains(">50 mm, with the others; 60 mm is nearer</td>"),
        "{near}"
    );
    assert!(near.contains("Not all were measured at 55 mm. "), "{near}");
    // What one was measured at is shown, and not where the others meet.
    let exact = site
        .get(&format!("/compare.json?{asked}&focal_mm=60"))
        .await;
    assert_eq!(focal_lengths(&exact.json()), [50.0, 50.0, 60.0, 105.0]);
    let alike = site.get("/compare.json?lens=ostrel-28-135-f-3-5&lens=brackwell-pier-50-f-1-8");
    assert!(alike.await.json()["matched"].is_null());
}

#[tokio::test]
async fn conditions_that_none_of_them_has_lead_to_those_there_are() {
    let site = Site::with_lenses().await;
    let (on, off_code) = (
        "correction-on.compensation-on",
        "correction-off.compensation-off",
    );
    let query = format!("{BOTH}&conditions={on}&tolerance_pct=1.5");
    let answer = site.get(&format!("/compare?{query}")).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    let text = answer.text().replace('\u{a0}', " ");
    assert!(
        text.contains("none of these lenses was measured with distortion correction on, breathing compensation on"),
        "{text}"
    );
    // The question goes along, but for what can't be answered; the form keeps the lenses.
    let instead = format!(
        "<a href=\"/compare?{}&#38;tolerance_pct=1.5&#38;conditions={off_code}\">",
        BOTH.replace('&', "&#38;")
    );
    assert!(text.contains(&instead), "{text}");
    assert!(
        text.contains("<option value=\"tindra-sound-85-f-1-4\" selected>"),
        "{text}"
    );
    assert!(
        text.contains("aria-label=\"Lenses side by side\""),
        "what can be answered is"
    );
    for path in [
        "/compare.json",
        "/api/v1/compare",
        "/compare.csv",
        "/charts/compare.svg",
    ] {
        let refused = site.ask(&format!("{path}?{query}"), &[]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
        let detail = refused.json()["detail"].to_string();
        assert!(detail.contains(off_code), "{path}: {detail}");
    }
}

/// Both lines stand in one plot, so their axes can't differ; each ends where its lens focuses no closer.
#[tokio::test]
async fn two_to_four_lenses_on_the_same_axes() {
    let site = Site::with_lenses().await;
    let four = format!("{BOTH}&lens=brackwell-pier-50-f-1-8&lens=tindra-reef-35-f-2");
    let text = page(&site, &four).await;
    let charts = text.matches("class=\"chart-picture\"").count();
    assert_eq!(
        charts, 3,
        "one for wide and one for narrow windows, one for paper"
    );
    for label in [
        "Ostrel 28-135 f/3.5 at 50 mm",
        "Tindra Sound 85 f/1.4",
        "Brackwell Pier 50 f/1.8",
    ] {
        assert!(text.contains(&format!(">{label}</text>")), "{label}");
    }
    assert!(
        text.contains("Tindra Reef 35 f/2: not measured"),
        "said, not left out"
    );
    // Read at 0.5 m, which only two of them reach: 0.45 m and 0.4 m.
    let (_, table) = text.split_once("The chart in numbers").expect("a table");
    let (_, row) = table
        .split_once("<th scope=\"row\">0.5 m")
        .expect("a row at 0.5 m");
    let row = row.split("</tr>").next().expect("its end");
    assert_eq!(row.matches("not measured").count(), 1, "{row}");
    for many in [
        "lens=a&lens=b&lens=c&lens=d&lens=e",
        "lens=tindra-sound-85-f-1-4&focal_mm=0",
    ] {
        let answer = site.get(&format!("/compare?{many}")).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{many}");
    }
}

#[tokio::test]
async fn what_was_not_measured_alike_is_said_before_the_numbers() {
    let site = Site::with_lenses().await;
    let far = site.lens("Brackwell", "Fell 85 f/2", (85.0, 85.0)).await;
    let mut conditions = off();
    conditions.target_distance = breathmark::units::Metres::new(3.0).ok();
    let mut sweep = curve(85.0, 1.0, 0.8);
    sweep.distance_source = DistanceSource::Blur;
    sweep.f_number = FNumber::new(16.0).ok();
    sweep.camera = Some("Ostrel Bench 7".to_owned());
    site.publish(&far, &conditions, sweep).await;
    let text = page(
        &site,
        &format!("lens={}&lens=tindra-sound-85-f-1-4", far.slug),
    )
    .await;
    let chart = text.find("<figure").expect("a chart");
    for words in [
        "Target distance differs. Brackwell Fell 85 f/2: 3 m; Tindra Sound 85 f/1.4: 2 m.",
        "Source of the distances differs.",
        "Aperture differs. Brackwell Fell 85 f/2: f/16; Tindra Sound 85 f/1.4: f/5.6.",
        "Camera differs. Brackwell Fell 85 f/2: Ostrel Bench 7; Tindra Sound 85 f/1.4: Ostrel Bench 6.",
    ] {
        let place = text.find(words).unwrap_or_else(|| panic!("{words}"));
        assert!(place < chart, "{words}");
    }
    assert!(!text.contains("Focal length differs"), "it does not");
    let alike = page(
        &site,
        "lens=brackwell-pier-50-f-1-8&lens=ostrel-28-135-f-3-5",
    )
    .await;
    assert!(!alike.contains("not measured alike"), "50 mm both");
}

#[tokio::test]
async fn the_address_keeps_the_comparison_whole() {
    let site = Site::with_lenses().await;
    let query = format!("{BOTH}&focal_mm=90&from_m=10+ft&to_m=1&picture_width_px=4096&axis=travel");
    let text = page(&site, &query).await;
    let (_, rest) = text
        .split_once("data-copy=\"Copy the address\">")
        .expect("an address");
    let address = rest
        .split('<')
        .next()
        .expect("its end")
        .replace("&#38;", "&");
    let path = address
        .strip_prefix("https://lens.example")
        .expect("the public address");
    let again = site.get(path).await.text().replace('\u{a0}', " ");
    assert_eq!(again, text, "the same page");
    assert!(text.contains("value=\"90\"") && text.contains("value=\"10 ft\""));
    assert!(text.contains("data-axis=\"travel\""));
    let taken = "/charts/compare.png?width=3840&amp;height=2160&amp;theme=clear&amp;";
    let taken = text.split_once(taken).expect("a chart to take away").1;
    let taken = taken.split('"').next().expect("its end");
    assert!(
        path.ends_with(&taken.replace("&#38;", "&")),
        "the same question: {taken}"
    );
}

/// From 10 ft, which is 3.048 m, to 1 m: 85 mm goes −5.2 % at 0.8 m, so −1.365 % and −4.16 %.
#[tokio::test]
async fn a_pull_in_feet_is_told_in_pixels_of_the_picture() {
    let site = Site::with_lenses().await;
    let query = format!("{BOTH}&from_m=10+ft&to_m=1&picture_width_px=4096");
    let text = page(&site, &query).await;
    assert!(text.contains("from 10 ft to 1 m"), "{text}");
    let twin = site.get(&format!("/compare.json?{query}")).await.json();
    let pull = &twin["lenses"][1]["pull"];
    let change = (1.0 - 0.0416) / (1.0 - 0.052 * 0.8 / 3.048) - 1.0;
    let told = pull["framing_change_pct"].as_f64().expect("a change");
    // Raw numbers of a straight curve.
    assert!((told - 100.0 * change).abs() < 1e-9, "{pull}");
    let edge = pull["edge_movement_px"].as_f64().expect("a movement");
    assert!((edge - 2048.0 * change).abs() < 1e-9, "{pull}");
    let outside = page(&site, &format!("{BOTH}&from_m=3&to_m=0.5")).await;
    assert!(outside.contains("not measured closer than 0.8 m (2 ft 7.5 in)"));
}

/// On a phone the form is as high as the screen: it leads to the answer, but not past a complaint.
#[tokio::test]
async fn the_form_leads_to_the_answer() {
    let site = Site::with_lenses().await;
    let shown = page(&site, BOTH).await;
    let form = "<form class=\"filters no-print\" action=\"/compare#compared\">";
    assert!(
        shown.contains(form) && shown.contains("id=\"compared\""),
        "{shown}"
    );
    let wrong = site.get(&format!("/compare?{BOTH}&focal_mm=x")).await;
    assert!(!wrong.text().contains("id=\"compared\""));
}

/// What was measured with more than one aperture or camera differs from what was measured with one of them.
#[tokio::test]
async fn every_aperture_and_camera_of_repeats_is_compared() {
    let site = Site::new().await;
    let mixed = site.lens("Ostrel", "Quay 50", (50.0, 50.0)).await;
    let plain = site.lens("Tindra", "Reef 50", (50.0, 50.0)).await;
    let shot = |n: f64, camera: &str| {
        let mut sweep = curve(50.0, 2.5, 0.5);
        sweep.f_number = FNumber::new(n).ok();
        sweep.camera = Some(camera.to_owned());
        sweep
    };
    site.publish(&mixed, &off(), shot(4.0, "Bench 6")).await;
    site.publish(&mixed, &off(), shot(2.8, "Bench 7")).await;
    site.publish(&plain, &off(), shot(4.0, "Bench 6")).await;
    let both = format!("lens={}&lens={}", mixed.slug, plain.slug);
    let text = page(&site, &both).await;
    for words in [
        "Aperture differs. Ostrel Quay 50: f/2.8 and f/4; Tindra Reef 50: f/4.",
        "Camera differs. Ostrel Quay 50: Bench 6 and Bench 7; Tindra Reef 50: Bench 6.",
        "Each line ends where that lens was not measured closer.",
        "Ostrel Quay 50: At 50 mm the picture gets tighter by 2.50 %",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    // The same set is no difference, in whatever order it came.
    site.publish(&plain, &off(), shot(2.8, "Bench 7")).await;
    let text = page(&site, &both).await;
    assert!(
        !text.contains("Aperture differs") && !text.contains("Camera differs"),
        "{text}"
    );
    let csv = site
        .get(&format!("/lenses/{}.csv", mixed.slug))
        .await
        .text();
    let row = csv.lines().nth(1).expect("a row");
    assert!(row.contains(",2.8 4,Bench 6; Bench 7,"), "{row}");
}
