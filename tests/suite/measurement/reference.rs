//! The program's centres beside those of general-purpose libraries, on the same crops.
