//! Settings of the server: every one a flag and an environment variable, with default and unit in `--help`.

use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};

/// Settings of `serve` and `demo`.
#[derive(Debug, Clone, clap::Args)]
pub struct Config {
    /// Data folder.
    #[command(flatten)]
    pub folder: DataFolder,
    /// Address to listen on
    #[arg(
        long,
        env = "BREATHMARK_LISTEN",
        default_value = "127.0.0.1:8317",
        value_name = "ADDRESS",
        value_parser = listening
    )]
    pub listen: SocketAddr,
    /// Public address of the site, used in links that leave it; http://LISTEN where it is not given
    #[arg(long, env = "BREATHMARK_PUBLIC_URL", value_name = "URL", value_parser = public_url)]
    pub public_url: Option<String>,
    /// Address of the proxy before this server, whose X-Forwarded-For is believed when sign-ins and reads are counted
    #[arg(long, env = "BREATHMARK_TRUSTED_PROXY", value_name = "ADDRESS")]
    pub trusted_proxy: Option<IpAddr>,
    /// Threads that measure frames; 0 is one a processor
    #[arg(
        long,
        env = "BREATHMARK_MEASURE_THREADS",
        default_value_t = 0,
        value_name = "COUNT",
        value_parser = threads
    )]
    pub measure_threads: usize,
    /// Reads of JSON, CSV, charts and pictures made to order that one address may make a minute; 0 is without limit
    #[arg(
        long,
        env = "BREATHMARK_READS_PER_MINUTE",
        default_value_t = 3000,
        value_name = "COUNT"
    )]
    pub reads_per_minute: u32,
    /// Hours without use after which a session ends
    #[arg(long, env = "BREATHMARK_SESSION_IDLE_H", default_value_t = 8, value_name = "HOURS", value_parser = clap::value_parser!(u32).range(1..=720))]
    pub session_idle_h: u32,
    /// Days after which a session ends in any case
    #[arg(long, env = "BREATHMARK_SESSION_MAX_D", default_value_t = 14, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(1..=365))]
    pub session_max_d: u32,
    /// Most megabytes of one picture file
    #[arg(long, env = "BREATHMARK_MAX_FILE_MB", default_value_t = 64, value_name = "MB", value_parser = clap::value_parser!(u32).range(1..=1024))]
    pub max_file_mb: u32,
    /// Most megapixels of one picture
    #[arg(long, env = "BREATHMARK_MAX_MEGAPIXELS", default_value_t = 80, value_name = "MP", value_parser = clap::value_parser!(u32).range(1..=400))]
    pub max_megapixels: u32,
}

/// Most threads that can be asked for: more than any machine has processors.
const MOST_THREADS: usize = 1024;

impl Config {
    /// Limits on what is taken from outside, as these settings say.
    #[must_use]
    pub fn limits(&self) -> crate::intake::Limits {
        crate::intake::Limits {
            max_file_bytes: u64::from(self.max_file_mb) << 20,
            max_megapixels: self.max_megapixels,
            ..crate::intake::Limits::default()
        }
    }

    /// The site's public address without a slash at its end.
    #[must_use]
    pub fn public_url(&self) -> String {
        self.public_url
            .as_ref()
            .map_or_else(|| format!("http://{}", self.listen), Clone::clone)
    }
}

/// An address that links can begin with: scheme and host, without a path, since pages stand at the root.
fn public_url(text: &str) -> Result<String, String> {
    let url = text.trim_end_matches('/');
    let fits = url.parse::<axum::http::Uri>().is_ok_and(|uri| {
        matches!(uri.scheme_str(), Some("http" | "https"))
            && uri.host().is_some_and(|host| !host.is_empty())
            && uri
                .authority()
                .is_some_and(|host| !host.as_str().contains('@'))
            && uri.path() == "/"
            && uri.query().is_none()
    });
    if fits {
        Ok(url.to_owned())
    } else {
        Err("give scheme and host, like https://breathing.example".to_owned())
    }
}

/// An address of this machine with a port.
fn listening(text: &str) -> Result<SocketAddr, String> {
    let why = "give an address in figures and a port, like 127.0.0.1:8317 or [::]:8317";
    text.parse().map_err(|_| why.to_owned())
}

/// A number of threads that a machine may have.
fn threads(text: &str) -> Result<usize, String> {
    let count = text.parse().ok().filter(|count| *count <= MOST_THREADS);
    count.ok_or_else(|| {
        format!("give 0 to {MOST_THREADS} threads, not {text}; 0 is one a processor")
    })
}

/// The database inside a data folder.
#[must_use]
pub fn database_path(data: &Path) -> PathBuf {
    data.join("breathmark.sqlite")
}

/// The data folder alone, for commands that need nothing else.
#[derive(Debug, Clone, clap::Args)]
pub struct DataFolder {
    /// Data folder: database, originals, lock file
    #[arg(
        long,
        env = "BREATHMARK_DATA",
        default_value = "data",
        value_name = "FOLDER"
    )]
    pub data: PathBuf,
}

impl DataFolder {
    /// Where the database is, making the folder where there is none.
    ///
    /// # Errors
    /// When the folder can't be made.
    pub fn database(&self) -> std::io::Result<PathBuf> {
        std::fs::create_dir_all(&self.data)?;
        Ok(database_path(&self.data))
    }

    /// Where the database is.
    ///
    /// # Errors
    /// When there is none: a mistyped folder is not made.
    pub fn existing_database(&self) -> std::io::Result<PathBuf> {
        let path = database_path(&self.data);
        if path.is_file() {
            return Ok(path);
        }
        Err(std::io::Error::new(
            std::io::ErrorKind::NotFound,
            format!(
                "there is no database in {}; name the data folder with --data",
                self.data.display()
            ),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn threads_that_no_machine_has_are_refused_with_the_range() {
        assert_eq!(threads("16"), Ok(16));
        for absurd in ["99999999999", "-1", "two"] {
            assert!(threads(absurd).is_err_and(|said| said.contains("0 to 1024")));
        }
    }

    #[test]
    fn public_addresses_are_scheme_and_host() {
        for fits in [
            "https://lens.example",
            "http://[::1]:8317",
            "http://localhost:80/",
        ] {
            assert_eq!(public_url(fits).as_deref(), Ok(fits.trim_end_matches('/')));
        }
        for unusable in [
            "",
            "lens.example",
            "ftp://lens.example",
            "https://",
            "https://lens.example/breathing",
            "https://lens.example/?q",
            "https://me@lens.example",
            "https://lens example",
        ] {
            assert!(public_url(unusable).is_err(), "{unusable}");
        }
    }
}
