//! The reviewers' routes, for the description of the API.

use serde_json::{Map, Value, json};

use super::description::refusal;

/// A route: path, method, what it does, what is sent, what comes back.
struct Route {
    path: &'static str,
    method: &'static str,
    does: &'static str,
    sent: Sent,
    done: &'static [(&'static str, &'static str)],
}

/// What is sent in a body.
enum Sent {
    Nothing,
    /// A schema among the components.
    Known(&'static str),
    /// A JSON object with these fields, each with what it is; the first so many are required.
    Object(usize, &'static [(&'static str, &'static str)]),
    /// Bytes of a file.
    File,
}

const ROUTES: [Route; 10] = [
    Route {
        path: "/api/v1/lenses",
        method: "post",
        does: "Makes a lens",
        sent: Sent::Known("LensInput"),
        done: &[("201", "The lens; Location leads to it")],
    },
    Route {
        path: "/api/v1/lenses/{slug}",
        method: "patch",
        does: "Corrects a lens; fields that are not sent stay",
        sent: Sent::Known("LensInput"),
        done: &[("200", "The lens as it is now")],
    },
    Route {
        path: "/api/v1/uploads",
        method: "post",
        does: "Opens an upload for a lens",
        sent: Sent::Object(
            1,
            &[
                ("lens", "string: stable name of the lens"),
                ("conditions", "object: what holds for all its sweeps"),
            ],
        ),
        done: &[("201", "The upload with its id")],
    },
    Route {
        path: "/api/v1/uploads/{id}",
        method: "get",
        does: "What an upload holds so far",
        sent: Sent::Nothing,
        done: &[("200", "Its files, refused ones and sweeps")],
    },
    Route {
        path: "/api/v1/uploads/{id}/files/{name}",
        method: "put",
        does: "Takes one frame or one zip; the same name and bytes again change nothing",
        sent: Sent::File,
        done: &[
            ("200", "It was there with the same bytes"),
            ("201", "It is stored"),
        ],
    },
    Route {
        path: "/api/v1/uploads/{id}/finish",
        method: "post",
        does: "Splits an upload into sweeps and queues them",
        sent: Sent::Nothing,
        done: &[("200", "Keys of the sweeps")],
    },
    Route {
        path: "/api/v1/sweeps/{id}",
        method: "patch",
        does: "Changes what is said of a sweep and queues a new measurement; absent fields stay, null takes back",
        sent: Sent::Object(
            0,
            &[
                ("distortion_correction", "string: on, off or unknown"),
                ("breathing_compensation", "string: on, off or unknown"),
                ("stabilisation", "string: on, off or unknown"),
                (
                    "target_distance_m",
                    "number: from sensor plane to targets, m",
                ),
                ("closest_focus_m", "number: closest focus of this sweep, m"),
                ("focal_length_mm", "number: marked focal length, mm"),
                ("f_number", "number: f-number"),
                ("sensor_width_mm", "number: width of the picture area, mm"),
                ("camera", "string: camera, where the files don't state it"),
                ("order", "string: auto, name, time or reverse"),
                (
                    "last_not_at_infinity",
                    "boolean: the last frame is not at infinity",
                ),
                (
                    "distances",
                    "object: focus distance in m, or \"infinity\", by file name; replaces all",
                ),
                (
                    "left_out",
                    "object: reason by file name of each frame left out; replaces all",
                ),
                (
                    "target_places",
                    "object: places of the targets by file name, each as x and y in px; replaces all",
                ),
                ("notes", "string: notes of the reviewer, never public"),
            ],
        ),
        done: &[("200", "What is said of it now")],
    },
    Route {
        path: "/api/v1/sweeps/{id}/events",
        method: "get",
        does: "Progress of a measurement as server-sent events; ends when it is measured",
        sent: Sent::Nothing,
        done: &[("200", "Events")],
    },
    Route {
        path: "/api/v1/sweeps/{id}/publish",
        method: "post",
        does: "Makes the newest result of a sweep public",
        sent: Sent::Nothing,
        done: &[("200", "The version that is public")],
    },
    Route {
        path: "/api/v1/sweeps/{id}/withdraw",
        method: "post",
        does: "Takes the public version of a sweep back; the reason stays visible",
        sent: Sent::Object(1, &[("reason", "string: why, for readers")]),
        done: &[("200", "What was withdrawn")],
    },
];

/// Path, method and description of each.
pub(super) fn operations() -> impl Iterator<Item = (&'static str, &'static str, Value)> {
    ROUTES
        .iter()
        .map(|route| (route.path, route.method, route.description()))
}

impl Route {
    fn description(&self) -> Value {
        let events = self.path.ends_with("/events");
        let media = if events {
            "text/event-stream"
        } else {
            "application/json"
        };
        let mut answers = Map::new();
        for (status, words) in self.done {
            let answer = json!({ "description": words, "content": { media: {} } });
            answers.insert((*status).to_owned(), answer);
        }
        for (status, words) in [
            ("400", "The request can't be read"),
            ("401", "Nobody is signed in"),
            (
                "403",
                "The token does not allow it, or it is another reviewer's",
            ),
            (
                "404",
                "There is no such thing, or it is another reviewer's draft",
            ),
            ("409", "It contradicts what is there"),
            ("413", "Too many bytes"),
            ("415", "The content type can't be used"),
            (
                "422",
                "A field or a file can't be used; the problem document says which",
            ),
            ("503", "Busy for a moment; see Retry-After"),
            ("507", "Nothing can be stored at the moment"),
        ] {
            answers.insert(status.to_owned(), refusal(words));
        }
        let mut described = json!({
            "tags": ["review"],
            "summary": self.does,
            "operationId": self.id(),
            "parameters": self.parameters(),
            "security": [{ "token": [] }],
            "responses": answers,
        });
        if let Some(body) = self.sent.description() {
            described["requestBody"] = body;
        }
        described
    }

    /// A name of its own, from method and path.
    fn id(&self) -> String {
        let path = self.path.trim_start_matches("/api/v1/");
        let word = |c: char| if c.is_ascii_alphanumeric() { c } else { '_' };
        format!(
            "{}_{}",
            self.method,
            path.chars().map(word).collect::<String>()
        )
    }

    fn parameters(&self) -> Vec<Value> {
        let names = self.path.split('/').filter_map(|part| {
            part.strip_prefix('{')
                .and_then(|name| name.strip_suffix('}'))
        });
        names
            .map(|name| {
                let (schema, words) = match name {
                    "id" => (json!({ "type": "integer", "format": "int64", "minimum": 1 }), "Key"),
                    "slug" => (json!({ "type": "string" }), "Stable name of the lens"),
                    _ => (json!({ "type": "string", "minLength": 1, "maxLength": 255 }), "File name"),
                };
                json!({ "name": name, "in": "path", "required": true, "description": words, "schema": schema })
            })
            .collect()
    }
}

impl Sent {
    fn description(&self) -> Option<Value> {
        let (media, schema) = match self {
            Self::Nothing => return None,
            Self::File => ("application/octet-stream", json!({})),
            Self::Known(name) => (
                "application/json",
                json!({ "$ref": format!("#/components/schemas/{name}") }),
            ),
            Self::Object(required, fields) => {
                let properties: Map<String, Value> = fields
                    .iter()
                    .map(|(name, what)| {
                        let (holds, words) = what.split_once(": ").unwrap_or(("string", what));
                        (
                            (*name).to_owned(),
                            json!({ "type": [holds, "null"], "description": words }),
                        )
                    })
                    .collect();
                let required: Vec<&str> =
                    fields[..*required].iter().map(|(name, _)| *name).collect();
                let schema = json!({
                    "type": "object",
                    "required": required,
                    "properties": properties,
                    "additionalProperties": false,
                });
                ("application/json", schema)
            }
        };
        Some(json!({ "required": true, "content": { media: { "schema": schema } } }))
    }
}
