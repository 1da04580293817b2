//! How `deepbendd` ends.

use std::fmt::Write as _;

/// A way in which `deepbendd` ends: the code, and what it means.
pub type Exit = (u8, &'static str);

/// It was told to end, or did its work on the data folder.
pub const DONE: Exit = (0, "it was told to end, or its work on the data folder is done");
/// A setting or the command line is wrong.
pub const USAGE: Exit = (64, "a setting or the command line cannot be used");
/// A backup is damaged.
pub const BAD_DATA: Exit = (65, "a backup is damaged");
/// It cannot serve.
pub const UNAVAILABLE: Exit = (69, "the address cannot be used, or the network failed");
/// The data folder or a file failed.
pub const IO: Exit = (74, "the data folder or a file cannot be used, or the disk is full");
/// Another process holds the data folder.
pub const HELD: Exit = (75, "the data folder is held by another process");

/// All of them, by code.
pub const ALL: [Exit; 6] = [DONE, USAGE, BAD_DATA, UNAVAILABLE, IO, HELD];

/// All of them as text, one a line.
#[must_use]
pub fn listed() -> String {
    let mut text = "How deepbendd ends:\n".to_owned();
    for (code, meaning) in ALL {
        // Memory takes every text.
        let _ = writeln!(text, "{code:>4}  {meaning}");
    }
    text
}

#[cfg(test)]
mod tests {
    use crate::config::{Loaded, load};

    // Source: sysexits.h (EX_USAGE 64, EX_DATAERR 65, EX_UNAVAILABLE 69, EX_IOERR 74, EX_TEMPFAIL
    // 75).
    #[test]
    fn the_help_lists_how_it_ends() {
        let loaded = load(["deepbendd", "--help"].map(Into::into), |_| None);
        let Ok(Loaded::Print(help)) = loaded else { panic!("{loaded:?}") };
        for code in ["  64  ", "  65  ", "  69  ", "  74  ", "  75  "] {
            assert!(help.contains(code), "{help}");
        }
    }
}
