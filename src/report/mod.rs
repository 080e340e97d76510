//! Results in words and numbers for the outside: the sweep document (JSON, CSV, table), sentences, metres and feet.
