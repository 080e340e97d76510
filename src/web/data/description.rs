//! What the package says of itself: its description (Data Package, datapackage.org) and a text for people.

use serde_json::{Value, json};

use super::tables::{Column, TABLES, Table, Type};

/// `datapackage.json`, with the sizes of the files in the order of the tables.
pub(super) fn description(site: &str, bytes: &[u64]) -> Value {
    let resources: Vec<Value> = TABLES
        .iter()
        .zip(bytes)
        .map(|(table, bytes)| resource(table, *bytes))
        .collect();
    json!({
        "profile": "tabular-data-package",
        "name": "breathmark",
        "title": "Measured lens breathing",
        "description": "How much lenses change their angle of view while they are refocused, measured from focus brackets of two targets. Units are in the names of the columns; u columns are standard uncertainties (k = 1); unknown is empty. See README.txt for cautions.",
        "homepage": site,
        "licenses": [{
            "name": "CC-BY-4.0",
            "title": "Creative Commons Attribution 4.0",
            "path": "https://creativecommons.org/licenses/by/4.0/",
        }],
        "sources": [{ "title": format!("Breathmark at {site}"), "path": site }],
        "resources": resources,
    })
}

fn resource(table: &Table, bytes: u64) -> Value {
    let fields: Vec<Value> = table.columns.iter().map(field).collect();
    let mut schema = json!({
        "fields": fields,
        "primaryKey": table.key,
        "missingValues": [""],
    });
    if let Some((column, other)) = table.refers {
        schema["foreignKeys"] = json!([{
            "fields": column,
            "reference": { "resource": other, "fields": column },
        }]);
    }
    json!({
        "profile": "tabular-data-resource",
        "name": table.name,
        "path": format!("{}.csv", table.name),
        "title": table.title,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": bytes,
        "schema": schema,
    })
}

fn field(column: &Column) -> Value {
    let holds = match column.holds {
        Type::Text => "string",
        Type::Number => "number",
        Type::Whole => "integer",
        Type::Time => "datetime",
    };
    let mut field = json!({
        "name": column.name,
        "type": holds,
        "description": column.says,
    });
    if column.always {
        field["constraints"] = json!({ "required": true });
    }
    field
}

/// `README.txt`.
pub(super) fn for_people(site: &str) -> String {
    let mut text = format!(
        "Measured lens breathing: every number published at {site}\n\
         Licence: CC BY 4.0, https://creativecommons.org/licenses/by/4.0/. Name Breathmark and link the page of the lens.\n\n\
         Files (CSV, UTF-8, header row; datapackage.json describes every column):\n\n"
    );
    for table in &TABLES {
        text.push_str(&format!("  {}.csv: {}\n", table.name, table.title));
    }
    text.push_str(
        "\nUnits are in the names of the columns. Shift is stated on the picture scale: positive is tighter than at infinity,\n\
         negative wider. Columns with _u_ are standard uncertainties (k = 1); twice that is about a 95 % interval. Unknown is\n\
         empty, which is not 0. A text that a spreadsheet could take for a formula has an apostrophe before it.\n\n\
         Cautions\n\n\
         - One copy of a lens is not the model: copies vary, and marked focal lengths may be off by 5 %.\n\
         - Results with other conditions (distortion correction, breathing compensation) can't be compared.\n\
         - Where relative_to is farthest_frame, the shifts are not relative to infinity.\n\
         - Where distance_source is blur, distances are estimates.\n\
         - 2 % as the shift that a viewer does not mind is common practice, not a standard. For another tolerance read the curves.\n",
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_says_what_it_holds() {
        for table in &TABLES {
            for column in table.columns {
                assert!(column.says.len() > 4, "{}.{}", table.name, column.name);
                let unit = ["_pct", "_mm", "_m", "_px", "_dioptres"]
                    .iter()
                    .find(|unit| column.name.ends_with(**unit));
                if unit.is_some() {
                    let units = ["per cent", "percentage", "mm", " m", "px", "dioptres"];
                    assert!(
                        units.iter().any(|unit| column.says.contains(unit)),
                        "{}",
                        column.name
                    );
                }
            }
            for key in table.key {
                assert!(
                    table
                        .columns
                        .iter()
                        .any(|column| column.name == *key && column.always)
                );
            }
        }
    }
}
