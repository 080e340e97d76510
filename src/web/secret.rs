//! Secrets of sessions and tokens: shown once to their holder, kept only as a hash.

use rand::TryRng as _;
use sha2::{Digest as _, Sha256};

/// A new secret: 256 bits of the operating system, in hex.
///
/// # Errors
/// When the operating system gives no random bytes.
pub fn new() -> std::io::Result<String> {
    let mut bytes = [0_u8; 32];
    rand::rngs::SysRng
        .try_fill_bytes(&mut bytes)
        .map_err(std::io::Error::other)?;
    Ok(hex::encode(bytes))
}

/// The hash (SHA-256) under which a secret is kept. A secret of 256 bits can't be guessed, so a slow hash would gain
/// nothing.
#[must_use]
pub fn digest(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_are_long_and_never_twice() {
        let one = new().expect("random bytes");
        assert_eq!(one.len(), 64);
        assert_ne!(one, new().expect("random bytes"));
        assert_ne!(digest(&one), digest(""));
    }
}
