//! The package of all numbers: read back, it says what the API says.

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _};

use axum::http::{Method, StatusCode, header};
use serde_json::Value;

use super::site::{Answer, NOW, Site, curve, off, without_distances};

const PATH: &str = "/data/breathmark.zip";

/// The package, unpacked.
struct Package {
    description: Value,
    readme: String,
    /// Rows by table, cells by column.
    tables: BTreeMap<String, Vec<BTreeMap<String, String>>>,
}

fn unpacked(answer: &Answer) -> Package {
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
    let mut zip = zip::ZipArchive::new(Cursor::new(&answer.body)).expect("a zip");
    let mut texts = BTreeMap::new();
    for index in 0..zip.len() {
        let mut entry = zip.by_index(index).expect("an entry");
        let mut text = String::new();
        entry.read_to_string(&mut text).expect("UTF-8");
        let name = entry.name().expect("UTF-8").into_owned();
        texts.insert(name, text);
    }
    let description: Value = serde_json::from_str(&texts["datapackage.json"]).expect("JSON");
    let mut tables = BTreeMap::new();
    for resource in description["resources"].as_array().expect("resources") {
        let text = &texts[resource["path"].as_str().expect("a path")];
        assert_eq!(resource["bytes"], text.len());
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let columns = reader.headers().expect("a header").clone();
        let fields = resource["schema"]["fields"].as_array().expect("fields");
        let described: Vec<&str> = fields
            .iter()
            .filter_map(|field| field["name"].as_str())
            .collect();
        assert_eq!(columns.iter().collect::<Vec<_>>(), described);
        let rows = reader.records().map(|record| {
            let record = record.expect("as many cells as columns");
            let cells = columns.iter().zip(record.iter());
            let row: BTreeMap<String, String> = cells
                .map(|(column, cell)| (column.to_owned(), cell.to_owned()))
                .collect();
            for field in fields {
                let cell = &row[field["name"].as_str().expect("a name")];
                let typed = match field["type"].as_str().expect("a type") {
                    "number" => cell.is_empty() || cell.parse::<f64>().is_ok_and(f64::is_finite),
                    "integer" => cell.is_empty() || cell.parse::<i64>().is_ok(),
                    "datetime" => cell.ends_with('Z'),
                    _ => true,
                };
                let required = field["constraints"]["required"] == true;
                assert!(typed && !(required && cell.is_empty()), "{field}: {cell}");
            }
            row
        });
        let name = resource["name"].as_str().expect("a name").to_owned();
        tables.insert(name, rows.collect());
    }
    Package {
        readme: texts["README.txt"].clone(),
        description,
        tables,
    }
}

/// Whether a cell is a value of the API: the same number, the same text, or both unknown. The JSON reader of this test may
/// miss the last bit of a number, which is all that is forgiven.
fn same(cell: &str, value: &Value) -> bool {
    match value {
        Value::Null => cell.is_empty(),
        Value::Number(number) => {
            let (cell, number) = (cell.parse::<f64>().ok(), number.as_f64());
            let apart =
                |(cell, number): (f64, f64)| (cell - number).abs() / number.abs().max(1e-300);
            cell.zip(number)
                .map(apart)
                .is_some_and(|apart| apart <= f64::EPSILON)
        }
        Value::String(text) => cell == text,
        _ => false,
    }
}

#[tokio::test]
async fn the_package_says_what_the_api_says() {
    let site = Site::with_lenses().await;
    let blind = site.lens("Ostrel", "Blind 20 f/2", (20.0, 20.0)).await;
    site.publish(&blind, &off(), without_distances(curve(20.0, 3.0, 0.3)))
        .await;
    // At the tolerance, within what was measured of it.
    let open = site.lens("Ostrel", "Open 35 f/2", (35.0, 35.0)).await;
    site.publish(&open, &off(), curve(35.0, 1.999, 0.3)).await;
    let package = unpacked(&site.ask(PATH, &[]).await);
    let mut doubts = package.tables["results"].iter();
    assert!(doubts.any(|row| row["tolerance_doubt"] == "uncertainty"));
    let list = site.get("/api/v1/lenses").await.json();
    let lenses = list["lenses"].as_array().expect("lenses");
    assert_eq!(package.tables["lenses"].len(), lenses.len());
    let (mut results, mut points) = (0, 0);
    for row in &package.tables["lenses"] {
        let slug = &row["slug"];
        let record = site.get(&format!("/api/v1/lenses/{slug}")).await.json();
        for (column, cell) in row {
            assert!(
                same(cell, &record["lens"][column]),
                "{slug} {column}: {cell}"
            );
        }
        let of_lens = |table: &str| {
            let rows = package.tables[table].iter();
            rows.filter(|row| row["slug"] == *slug).collect::<Vec<_>>()
        };
        let told = record["results"].as_array().expect("results");
        let rows = of_lens("results");
        assert_eq!(rows.len(), told.len(), "{slug}");
        for (row, told) in rows.iter().zip(told) {
            for (column, cell) in *row {
                let joined = [
                    "slug",
                    "sweeps",
                    "reviewers",
                    "finding_codes",
                    "f_numbers",
                    "cameras",
                ];
                let fits = joined.contains(&column.as_str()) || same(cell, &told[column]);
                assert!(fits, "{slug} {column}: {cell} is not {}", told[column]);
            }
            assert_eq!(row["sweeps"], told["sweeps"][0].to_string());
            assert_eq!(row["reviewers"], "Ines");
            assert_eq!(row["cameras"], "Ostrel Bench 6");
            assert_eq!(row["f_numbers"], row["f_number"]);
        }
        results += rows.len();
        let curves = site.get(&format!("/api/v1/lenses/{slug}/curves")).await;
        let curves = curves.json();
        let told: Vec<&Value> = curves["curves"]
            .as_array()
            .expect("curves")
            .iter()
            .flat_map(|curve| curve["points"].as_array().expect("points"))
            .collect();
        let rows = of_lens("curves");
        assert_eq!(rows.len(), told.len());
        for (row, told) in rows.iter().zip(told) {
            for column in ["travel", "focus_dioptres", "shift_pct", "shift_u_pct"] {
                assert!(same(&row[column], &told[column]), "{slug} {column}");
            }
            points += 1;
        }
    }
    assert_eq!((results, points), (10, 10 * 25));
    assert_eq!(package.tables["sweeps"].len(), 10);
    for row in &package.tables["sweeps"] {
        let id = &row["sweep"];
        let told = site.get(&format!("/api/v1/sweeps/{id}")).await.json();
        assert_eq!(row["slug"], told["lens"]["slug"]);
        assert_eq!(row["measured_at"], told["measured_at"]);
        for column in [
            "worst_shift_pct",
            "focal_length_mm",
            "frame_count",
            "relative_to",
        ] {
            assert!(same(&row[column], &told["sweep"][column]), "{id} {column}");
        }
        let rows = package.tables["frames"].iter();
        let rows: Vec<_> = rows.filter(|row| row["sweep"] == *id).collect();
        let frames = told["sweep"]["frames"].as_array().expect("frames");
        assert_eq!(rows.len(), frames.len());
        for (row, frame) in rows.iter().zip(frames) {
            for column in [
                "file",
                "state",
                "shift_pct",
                "separation_px",
                "focus_dioptres",
            ] {
                assert!(same(&row[column], &frame[column]), "{id} {column}");
            }
        }
    }
    assert_eq!(package.description["licenses"][0]["name"], "CC-BY-4.0");
    assert_eq!(
        package.description["sources"][0]["path"],
        "https://lens.example"
    );
    assert!(package.readme.contains("copies vary"));
}

#[tokio::test]
async fn the_package_is_made_once_for_each_state_of_the_content() {
    let site = Site::with_lenses().await;
    let first = site.ask(PATH, &[]).await;
    assert_eq!(first.header(header::CONTENT_TYPE), "application/zip");
    assert_eq!(
        first.header(header::CONTENT_LENGTH),
        first.body.len().to_string()
    );
    assert_eq!(first.header(header::CACHE_CONTROL), "public, no-cache");
    let tag = first.header(header::ETAG).to_owned();
    let again = site.ask(PATH, &[(header::IF_NONE_MATCH, &tag)]).await;
    assert_eq!(again.status, StatusCode::NOT_MODIFIED);
    assert!(again.body.is_empty());
    let head = site.send(Method::HEAD, PATH, &[]).await;
    assert_eq!(head.header(header::ETAG), tag);
    assert_eq!(
        head.header(header::CONTENT_LENGTH),
        first.body.len().to_string()
    );
    // Ten at once get the same.
    let all = futures_util::future::join_all((0..10).map(|_| site.ask(PATH, &[]))).await;
    assert!(all.iter().all(|answer| answer.body == first.body));
    let evil = site.lens("=1+1", "@Pier 20", (20.0, 20.0)).await;
    let sweep = site.publish(&evil, &off(), curve(20.0, -1.0, 0.3)).await;
    let now = site.ask(PATH, &[(header::IF_NONE_MATCH, &tag)]).await;
    let package = unpacked(&now);
    let row = package.tables["lenses"]
        .iter()
        .find(|row| row["slug"] == evil.slug);
    let row = row.expect("the new lens");
    assert_eq!(
        (row["maker"].as_str(), row["model"].as_str()),
        ("'=1+1", "'@Pier 20")
    );
    let shift = package.tables["results"]
        .iter()
        .find(|row| row["slug"] == evil.slug);
    assert_eq!(
        shift.expect("its result")["worst_shift_pct"],
        "-1",
        "numbers stay numbers"
    );
    site.withdraw(sweep, "wrong lens", NOW + 1).await;
    let package = unpacked(&site.ask(PATH, &[]).await);
    assert!(
        package.tables["sweeps"]
            .iter()
            .all(|row| row["sweep"] != sweep.to_string())
    );
    assert!(
        package.tables["results"]
            .iter()
            .all(|row| row["slug"] != evil.slug)
    );
}

#[tokio::test]
async fn an_empty_site_has_an_empty_package() {
    let package = unpacked(&Site::new().await.ask(PATH, &[]).await);
    assert_eq!(package.tables.len(), 5);
    assert!(package.tables.values().all(Vec::is_empty));
}

/// It is packed once, by itself: whatever a client unpacks, it gets the zip, and is told of no other coding.
#[tokio::test]
async fn the_package_is_sent_as_it_is() {
    let site = Site::with_lenses().await;
    let plain = site.ask(PATH, &[]).await;
    let asked = site.ask(PATH, &[(header::ACCEPT_ENCODING, "gzip")]).await;
    for answer in [&plain, &asked] {
        assert!(!answer.headers.contains_key(header::CONTENT_ENCODING));
        assert!(!answer.headers.contains_key(header::VARY));
    }
    assert_eq!(plain.body, asked.body);
}
