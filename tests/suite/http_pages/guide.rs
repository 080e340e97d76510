//! The guide for programs, tried by somebody who has never seen the site: every example and every link.

use std::process::Command;

use axum::http::{StatusCode, header};

use super::reading::served;
use super::site::Site;

/// What stands between two marks, each time.
fn between<'a>(text: &'a str, from: &str, to: &str) -> Vec<&'a str> {
    text.split(from)
        .skip(1)
        .filter_map(|rest| rest.split_once(to))
        .map(|(found, _)| found)
        .collect()
}

fn plain(code: &str) -> String {
    code.replace("&amp;", "&")
        .replace("&#38;", "&")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
}

/// The examples with the address at which this site is served in place of its public one, run in a shell.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_example_works_as_it_stands() {
    let site = Site::with_lenses().await;
    let at = served(&site).await;
    let guide = site.get("/api").await.text();
    let examples = between(&guide, "<pre tabindex=\"0\"><code>", "</code></pre>");
    assert!(examples.len() >= 7, "{examples:?}");
    let folder = tempfile::tempdir().expect("a folder");
    for example in examples {
        let example = plain(example).replace("https://lens.example", &at);
        if let Some(address) = between(&example, "src=\"", "\"").first() {
            let path = address.strip_prefix(&at).expect("an address of the site");
            let framed = site.get(path).await;
            assert_eq!(framed.status, StatusCode::OK, "{path}");
            continue;
        }
        // A busy machine says so, and when to ask again.
        let strict = "curl --fail-with-body --no-progress-meter --retry 8 ";
        let script = example.replace("curl ", strict);
        let mut shell = Command::new("bash");
        shell.args(["-euo", "pipefail", "-c", &script]);
        shell.current_dir(folder.path());
        let run = tokio::task::spawn_blocking(move || shell.output().expect("a shell"));
        let output = run.await.expect("it ends");
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{script}\n{said}{complaint}");
        if script.contains("If-None-Match") {
            assert_eq!(said.trim(), "304", "{script}");
        } else if !script.contains(" -o ") {
            let answer: serde_json::Value = serde_json::from_str(&said).expect("JSON");
            let rows = answer.get("lenses").or(answer.get("pulls"));
            let rows = rows.and_then(|rows| rows.as_array()).map(Vec::len);
            assert_ne!(rows, Some(0), "{script} finds nothing");
            assert!(!said.contains("\"outside\":\""), "{script}: {said}");
        }
    }
    for (file, begin) in [
        ("lens.csv", &b"slug,"[..]),
        ("counter-scale.csv", b"slug,"),
        ("chart.png", b"\x89PNG"),
    ] {
        let bytes = std::fs::read(folder.path().join(file)).expect(file);
        assert!(bytes.starts_with(begin) && bytes.len() > 200, "{file}");
    }
}

#[tokio::test]
async fn every_address_of_the_guide_is_there() {
    let site = Site::with_lenses().await;
    let guide = site.get("/api").await.text();
    for link in between(&guide, "href=\"", "\"") {
        let link = plain(link).replace("https://lens.example", "");
        if link.starts_with('/') {
            let answer = site.get(&link).await;
            assert!(answer.status.is_success(), "{link}: {}", answer.status);
        }
    }
    let addresses = between(&guide, "<th scope=\"row\">", "</th>");
    let addresses = addresses
        .iter()
        .flat_map(|row| between(row, "<code>/", "</code>"));
    let mut tried = 0;
    for address in addresses.filter(|address| !address.contains("#problem")) {
        let address = address
            .replace("{slug}", "ostrel-28-135-f-3-5")
            .replace("{id}", "1");
        let question = match address.as_str() {
            path if path.contains("compare") => {
                "?lens=ostrel-28-135-f-3-5&lens=tindra-sound-85-f-1-4"
            }
            path if path.ends_with("/pull") => "?from_m=3&to_m=1",
            "oembed" => "?url=https://lens.example/lenses/ostrel-28-135-f-3-5",
            _ => "",
        };
        let answer = site.get(&format!("/{address}{question}")).await;
        assert_eq!(answer.status, StatusCode::OK, "/{address}{question}");
        tried += 1;
    }
    assert!(tried >= 14, "{tried} addresses");
}

/// The answer that stands under an example is the one that its address gives, or the beginning of it.
#[tokio::test]
async fn the_answers_shown_are_those_that_come() {
    let site = Site::with_lenses().await;
    let guide = site.get("/api").await.text();
    let blocks = guide.split("<pre tabindex=\"0\"><code>curl ").skip(1);
    let mut answered = 0;
    for block in blocks {
        let Some(shown) = between(block, "<samp>", "</samp>").first().copied() else {
            continue;
        };
        let shown = plain(shown).replace("&#34;", "\"").replace("&#39;", "'");
        let path = between(block, "https://lens.example", "'</code>");
        let come = site.ask(&plain(path[0]), &[]).await;
        if come
            .header(header::CONTENT_TYPE)
            .starts_with("application/json")
        {
            let shown: serde_json::Value = serde_json::from_str(&shown).expect("JSON");
            assert_eq!(shown, come.json());
        } else {
            let whole = come.text();
            let lines: Vec<&str> = whole.lines().take(shown.lines().count()).collect();
            assert!(
                lines.len() > 1 && shown.lines().eq(lines),
                "{shown}\n{whole}"
            );
        }
        answered += 1;
    }
    assert_eq!(answered, 4, "{guide}");
}

#[tokio::test]
async fn where_nothing_is_published_the_examples_say_so() {
    let site = Site::new().await;
    let guide = site.get("/api").await;
    assert_eq!(guide.status, StatusCode::OK);
    assert!(guide.text().contains("Nothing is published here yet"));
    assert!(guide.text().contains("/lenses/SLUG.csv"));
}

/// The same question, the same answer: page, JSON, CSV.
#[tokio::test]
async fn a_plan_has_twins() {
    let site = Site::with_lenses().await;
    for query in [
        "lens=ostrel-28-135-f-3-5&closest_focus_m=0.6",
        "focal_mm=50+85&max_aperture=1.8&closest_focus_m=0.45&target_distance_m=3",
    ] {
        let page = site.get(&format!("/plan?{query}")).await;
        let json = site.ask(&format!("/plan.json?{query}"), &[]).await;
        let csv = site.ask(&format!("/plan.csv?{query}"), &[]).await;
        for answer in [&page, &json, &csv] {
            assert_eq!(answer.status, StatusCode::OK, "{query}: {}", answer.text());
        }
        let link =
            |ending: &str| format!("href=\"/plan.{ending}?{}\"", query.replace('&', "&#38;"));
        let shown = page.text().replace("%20", "+");
        assert!(
            shown.contains(&link("json")) && shown.contains(&link("csv")),
            "{shown}"
        );
        let document = json.json();
        assert_eq!(document["licence"], "CC BY 4.0");
        let plans = document["plans"].as_array().expect("plans");
        assert_eq!(plans.len(), 2, "{query}");
        let text = csv.text();
        let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
        assert_eq!(rows.len(), 3, "{query}");
        for (plan, row) in plans.iter().zip(&rows[1..]) {
            for (name, cell) in rows[0]
                .iter()
                .zip(row)
                .filter(|(name, _)| **name != "notes")
            {
                let cell: f64 = cell.parse().expect("a number");
                // The test's reader of JSON may miss the last bit.
                let same = plan[*name]
                    .as_f64()
                    .is_some_and(|value| (value - cell).abs() <= 1e-12 * cell.abs());
                assert!(same, "{name}: {} {cell}", plan[*name]);
            }
            let spacing = plan["target_spacing_m"].as_f64().expect("a number");
            let words = format!("{:.0} mm (", 1000.0 * spacing);
            let page = page.text().replace('\u{a0}', " ");
            assert!(page.contains(&words), "{words}");
        }
        assert!(csv.header(header::CONTENT_TYPE).starts_with("text/csv"));
    }
    let nothing = site.ask("/plan.json", &[]).await.json();
    assert_eq!(nothing["plans"], serde_json::json!([]));
    let wrong = site.ask("/plan.json?focal_mm=0&max_aperture=x", &[]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    let errors = wrong.json()["errors"].to_string();
    assert!(
        errors.contains("focal_mm") && errors.contains("max_aperture"),
        "{errors}"
    );
    let unknown = site.ask("/plan.csv?lens=nobody", &[]).await;
    assert_eq!(unknown.status, StatusCode::UNPROCESSABLE_ENTITY);
}
