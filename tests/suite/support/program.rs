//! The built program, run as a stranger runs it.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

/// The program, ready to be given arguments; no setting of the surroundings reaches it.
pub(crate) fn breathmark() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_breathmark"));
    for (name, _) in std::env::vars().filter(|(name, _)| name.starts_with("BREATHMARK_")) {
        command.env_remove(name);
    }
    command
}

/// Runs the program to its end.
pub(crate) fn run(arguments: &[&str]) -> Output {
    breathmark()
        .args(arguments)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts")
}

/// Runs the program to its end with a line on standard input.
pub(crate) fn run_with_input(arguments: &[&str], input: &str) -> Output {
    let mut child = breathmark()
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    child
        .stdin
        .take()
        .expect("standard input is a pipe")
        .write_all(input.as_bytes())
        .expect("the program reads");
    child.wait_with_output().expect("the program ends")
}

pub(crate) fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("standard output is UTF-8")
}

pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("standard error is UTF-8")
}

/// A server of its own on a free port; killed when dropped.
pub(crate) struct Server {
    child: Child,
    /// Where it answers, e.g. `http://127.0.0.1:40123`.
    pub(crate) address: String,
}

impl Server {
    /// Serves this data folder and waits until it listens.
    pub(crate) fn start(data: &Path) -> Self {
        Self::start_at(data, "127.0.0.1:0")
    }

    /// The same on an address of its own.
    pub(crate) fn start_at(data: &Path, listen: &str) -> Self {
        Self::run(&["serve", "--listen", listen], data, None)
    }

    /// The demo on this empty data folder, complete, without a limit on reads.
    pub(crate) fn demo(data: &Path) -> Self {
        // Its links have to name the port, so it has to be known before.
        let free = std::net::TcpListener::bind("127.0.0.1:0").and_then(|free| free.local_addr());
        let listen = free.expect("a free port").to_string();
        let arguments = ["demo", "--listen", &listen, "--reads-per-minute", "0"];
        Self::run(&arguments, data, Some("the demo is complete"))
    }

    /// Runs the program and waits until it has said where it serves, and then these words.
    fn run(arguments: &[&str], data: &Path, words: Option<&str>) -> Self {
        let mut child = breathmark()
            .args(arguments)
            .arg("--data")
            .arg(data)
            .stdin(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut lines =
            BufReader::new(child.stderr.take().expect("standard error is a pipe")).lines();
        let address = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| {
                line.split_once("serving at ")
                    .map(|(_, address)| address.to_owned())
            })
            .expect("the server says where it serves");
        if let Some(words) = words {
            let mut said = lines.by_ref().map_while(Result::ok);
            assert!(said.any(|line| line.contains(words)), "never said: {words}");
        }
        // What it logs later must be read, or the pipe fills up and the server stands still.
        std::thread::spawn(move || lines.for_each(drop));
        Self { child, address }
    }

    /// Asks it to stop and waits; gives the exit code.
    #[cfg(unix)]
    pub(crate) fn stop(mut self) -> Option<i32> {
        let stopped = Command::new("kill")
            .args(["-TERM", &self.child.id().to_string()])
            .status()
            .expect("kill can be run");
        assert!(stopped.success());
        self.child.wait().expect("the server ends").code()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
