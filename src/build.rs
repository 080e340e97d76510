//! Tells cargo to build again when a migration, template or static file is added or changed.

fn main() {
    for folder in ["migrations", "templates", "static"] {
        println!("cargo:rerun-if-changed={folder}");
    }
}
