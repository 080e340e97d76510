//! Repairs: what a measurement changed, conditions after the upload, targets pointed at, undone.

use serde_json::json;

use super::bench::{Bench, SignedIn, frames};
use super::client::Request;

async fn stored(bench: &Bench, sweep: i64) -> breathmark::store::Sweep {
    let sweep = bench.app.store.sweep(sweep).await.expect("readable");
    sweep.expect("there")
}

async fn page(reviewer: &SignedIn<'_>, path: &str) -> String {
    let answer = reviewer.get(path).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    answer.text()
}

#[tokio::test]
async fn a_repair_shows_what_it_changed_and_undoing_shows_it_again() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    assert!(!page(&mara, &at).await.contains("id=\"difference\""));

    // Without the nearest frame the worst shift is that of the next one.
    let out = [
        ("frame", "1"),
        ("reason", "hand in the picture"),
        ("from", "1"),
    ];
    let answer = mara.post(&format!("{at}/leave-out"), &out).await;
    assert_eq!(answer.location(), format!("{at}/frames/1"));
    mara.wait_until_measured(sweep).await;
    let changed = page(&mara, &at).await;
    for words in [
        "id=\"difference\"",
        "<td data-label=\"Before\">8</td><td data-label=\"Now\"><b>7</b></td>",
        "changed by more than the uncertainty",
        &frames()[0].0,
    ] {
        assert!(changed.contains(words), "{words}: {changed}");
    }
    assert!(
        changed.contains("<td data-label=\"Now\">none</td>"),
        "{changed}"
    );
    let frame = page(&mara, &format!("{at}/frames/1")).await;
    assert!(frame.contains("data-undo"), "{frame}");

    let back = [("frame", "1"), ("from", "1")];
    let answer = mara.post(&format!("{at}/take-back"), &back).await;
    assert_eq!(answer.location(), format!("{at}/frames/1"));
    mara.wait_until_measured(sweep).await;
    let undone = page(&mara, &at).await;
    assert!(
        undone.contains("<td data-label=\"Before\">7</td><td data-label=\"Now\"><b>8</b></td>"),
        "{undone}"
    );

    // Measuring the same again keeps what was compared with last.
    assert_eq!(mara.post(&format!("{at}/measure"), &[]).await.status, 303);
    mara.wait_until_measured(sweep).await;
    assert!(
        page(&mara, &at)
            .await
            .contains("<td data-label=\"Before\">7</td>")
    );
}

#[tokio::test]
async fn conditions_can_be_put_right_after_the_upload() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    let set = [
        ("distortion_correction", "on"),
        ("breathing_compensation", "off"),
        ("stabilisation", "off"),
        ("target_distance_m", "2.5"),
        ("f_number", "8"),
        ("camera", "Brackwell Bench 2"),
        ("order", "auto"),
    ];
    let answer = mara.post(&format!("{at}/settings"), &set).await;
    assert_eq!(answer.status, 303, "{}", answer.text());
    mara.wait_until_measured(sweep).await;
    let shown = page(&mara, &at).await.replace('\u{a0}', " ");
    for words in [
        "<dd>Brackwell Bench 2</dd>",
        "<dt>Target distance</dt><dd>2.5 m (8 ft 2.5 in)</dd>",
        "<dt>Distortion correction</dt><dd>on</dd>",
        "<dt>Aperture</dt><dd>f/8</dd>",
    ] {
        assert!(shown.contains(words), "{words}: {shown}");
    }

    let path = format!("/api/v1/sweeps/{sweep}");
    let patch =
        |document: serde_json::Value| mara.send(Request::new("PATCH", &path).json(&document));
    let answer = patch(json!({
        "distortion_correction": "off", "target_distance_m": null, "camera": null
    }))
    .await;
    assert_eq!(answer.status, 200, "{}", answer.text());
    let said = stored(&bench, sweep).await;
    assert_eq!(said.conditions.distortion_correction.code(), "off");
    assert_eq!(
        said.conditions.breathing_compensation.code(),
        "off",
        "stays"
    );
    assert_eq!(said.conditions.target_distance, None, "taken back");
    assert_eq!(said.settings.target_distance, None);
    assert_eq!(said.settings.camera, None);

    for (document, field, words) in [
        (
            json!({"stabilisation": "maybe"}),
            "stabilisation",
            "on, off or unknown",
        ),
        (
            json!({"stabilisation": true}),
            "stabilisation",
            "give text in quotes",
        ),
        (
            json!({"closest_focus_m": "near"}),
            "closest_focus_m",
            "give a number without quotes",
        ),
        (
            json!({"left_out": ["a.jpg"]}),
            "left_out",
            "give an object in braces",
        ),
        (
            json!({"last_not_at_infinity": 1}),
            "last_not_at_infinity",
            "give true or false",
        ),
        (
            json!({"distances": {"a.jpg": []}}),
            "distances",
            "give metres as a number",
        ),
        (json!([]), "body", "one JSON object in braces"),
        (json!([1.0, 2.0]), "body", "one JSON object in braces"),
    ] {
        let answer = patch(document.clone()).await;
        assert_eq!(answer.status, 422, "{document}: {}", answer.text());
        let error = answer.json()["errors"][0].clone();
        let named = error["field"].as_str().expect("a field");
        assert!(named.starts_with(field), "{document}: {error}");
        let detail = error["detail"].as_str().expect("a detail");
        assert!(detail.contains(words), "{document}: {detail}");
    }
}

#[tokio::test]
async fn targets_are_pointed_at_shown_and_taken_back() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let at = format!("/sweeps/{sweep}");
    let file = &frames()[2].0;
    let found: Vec<(f64, f64)> = stored(&bench, sweep)
        .await
        .result
        .expect("measured")
        .measurement
        .frames
        .iter()
        .find(|frame| frame.info.file == *file)
        .expect("in the sweep")
        .targets
        .iter()
        .map(|target| (target.x_px.value, target.y_px.value))
        .collect();
    // The picture of 480 px is shown 960 px wide.
    let shown = |px: f64| ((px + 0.5) * 2.0 - 0.5).round().to_string();
    let click = |place: (f64, f64)| {
        vec![
            ("frame".to_owned(), "3".to_owned()),
            ("from".to_owned(), "3".to_owned()),
            ("shown_width".to_owned(), "960".to_owned()),
            ("place.x".to_owned(), shown(place.0)),
            ("place.y".to_owned(), shown(place.1)),
        ]
    };
    let send = async |fields: &[(String, String)]| {
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
            .collect();
        mara.post(&format!("{at}/point"), &fields).await
    };
    let first = send(&click(found[0])).await;
    assert_eq!(first.status, 303, "{}", first.text());
    let waiting = first.location().to_owned();
    assert!(waiting.contains("?x1="), "{waiting}");
    assert!(stored(&bench, sweep).await.settings.pointed_at.is_empty());
    let half = page(&mara, waiting.trim_end_matches("#point")).await;
    assert!(
        half.contains("One place is marked") && half.contains("t-pointed"),
        "{half}"
    );

    let query = waiting
        .split_once('?')
        .expect("a query")
        .1
        .trim_end_matches("#point");
    let mut second = click(found[1]);
    second.extend(query.split('&').filter_map(|pair| {
        let (name, value) = pair.split_once('=')?;
        Some((name.to_owned(), value.to_owned()))
    }));
    let done = send(&second).await;
    assert_eq!(done.location(), format!("{at}/frames/3"), "{}", done.text());
    mara.wait_until_measured(sweep).await;
    let places = stored(&bench, sweep).await.settings.pointed_at[file].clone();
    for (place, found) in places.iter().zip(&found) {
        // A click is a whole pixel of a picture that is shown twice its size, and the address has one decimal.
        assert!(
            (place.0 - found.0).abs() < 0.6 && (place.1 - found.1).abs() < 0.6,
            "{places:?} {found:?}"
        );
    }
    let frame = page(&mara, &format!("{at}/frames/3")).await;
    assert!(
        frame.contains("were pointed at") && frame.contains("t-pointed"),
        "{frame}"
    );
    let worst = stored(&bench, sweep)
        .await
        .result
        .expect("measured")
        .measurement
        .summary;
    // 8 frames of 480 px: the shift is read to a few hundredths of a point; 0.1 tells it from any other.
    assert!((worst.expect("a result").worst_shift_pct.value - 2.0).abs() < 0.1);

    let undo = [("frame", "3"), ("from", "3")];
    assert_eq!(mara.post(&format!("{at}/unpoint"), &undo).await.status, 303);
    assert!(stored(&bench, sweep).await.settings.pointed_at.is_empty());
    mara.wait_until_measured(sweep).await;

    let outside = [
        ("frame", "3"),
        ("from", "3"),
        ("x1", "5"),
        ("y1", "5"),
        ("x2", "481"),
        ("y2", "5"),
    ];
    let refused = mara.post(&format!("{at}/point"), &outside).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("outside the picture") && refused.text().contains("value=\"481\"")
    );
    let once = [("frame", "3"), ("from", "3"), ("x1", "5"), ("y1", "5")];
    let refused = mara.post(&format!("{at}/point"), &once).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("second target"),
        "{}",
        refused.text()
    );
}

/// Scripts and tabs change one sweep at the same time, and nobody's change is lost.
#[tokio::test]
async fn changes_sent_at_the_same_time_all_stand() {
    let bench = Bench::start_without_worker().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.uploaded_sweep().await;
    let at = format!("/sweeps/{sweep}/leave-out");
    let path = format!("/api/v1/sweeps/{sweep}");
    let numbers: Vec<String> = (1..=frames().len()).map(|n| n.to_string()).collect();
    let forms = numbers.iter().map(|number| {
        let (mara, at) = (&mara, &at);
        async move {
            let fields = [("frame", number.as_str()), ("reason", "a hand")];
            mara.post(at, &fields).await.status
        }
    });
    let script = async {
        let document = json!({"f_number": 8, "notes": "windy"});
        let request = Request::new("PATCH", &path).json(&document);
        mara.send(request).await.status
    };
    let (forms, script) = tokio::join!(futures_util::future::join_all(forms), script);
    assert_eq!((forms, script), (vec![303; numbers.len()], 200));
    let said = stored(&bench, sweep).await;
    assert_eq!(said.settings.left_out.len(), numbers.len());
    assert_eq!(said.settings.f_number.map(|n| n.n()), Some(8.0));
    assert_eq!(said.notes, "windy");
}

#[tokio::test]
async fn a_wrong_pair_pointed_at_by_the_api_is_measured_and_told() {
    let bench = Bench::start().await;
    let mara = bench.signed_in("mara").await;
    let sweep = mara.measured_sweep().await;
    let path = format!("/api/v1/sweeps/{sweep}");
    let file = &frames()[2].0;
    let patch = |places: serde_json::Value| {
        let document = json!({"target_places": {file: places}});
        mara.send(Request::new("PATCH", &path).json(&document))
    };
    for (places, words) in [
        (json!([[1, 1]]), "no pair"),
        (json!([[1, 1], [999, 1]]), "outside"),
        (json!([1, 1]), "a list of two numbers"),
    ] {
        let refused = patch(places).await;
        assert_eq!(refused.status, 422, "{}", refused.text());
        assert!(
            refused.text().contains(words),
            "{words}: {}",
            refused.text()
        );
    }
    // Black cloth: nothing is there to be measured.
    let answer = patch(json!([[200, 20], [280, 20]])).await;
    assert_eq!(answer.status, 200, "{}", answer.text());
    mara.wait_until_measured(sweep).await;
    let result = stored(&bench, sweep)
        .await
        .result
        .expect("measured")
        .measurement;
    assert_eq!(result.measured_count(), frames().len() - 1);
    let shown = page(&mara, &format!("/sweeps/{sweep}")).await;
    assert!(
        shown.contains("pointed at") && shown.contains("id=\"difference\""),
        "{shown}"
    );
}
