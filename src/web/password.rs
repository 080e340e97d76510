//! Passwords: which are taken, and how they are kept (argon2id; OWASP ASVS 5.0, appendix C).

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Algorithm, Argon2, Params, Version};
use rand::TryRng as _;

/// Memory, KiB, of one hash.
const MEMORY_KIB: u32 = 19_456;
/// Passes over the memory.
const PASSES: u32 = 2;
/// Lanes.
const LANES: u32 = 1;

/// Fewest and most characters of a password.
pub const LENGTH: std::ops::RangeInclusive<usize> = 8..=128;

/// Passwords that are tried first by anybody who guesses, in lower case, one a line.
const COMMON: &str = include_str!("common_passwords.txt");

/// Why a password is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PasswordError {
    /// Fewer than 8 characters.
    #[error("a password has at least 8 characters; a few words in a row do well")]
    TooShort,
    /// More than 128 characters.
    #[error("a password has at most 128 characters")]
    TooLong,
    /// It is among those that are guessed first.
    #[error("this password is among those that are guessed first; take another one")]
    Common,
    /// It is the account's name.
    #[error("a password must not be the account's name")]
    IsName,
    /// The operating system gave no random bytes, or the hash could not be made.
    #[error("the password could not be hashed: {0}")]
    Hash(&'static str),
}

/// Whether a new password may be used for the account `name`. Any characters will do, in any mixture.
///
/// # Errors
/// `TooShort`, `TooLong`, `Common` or `IsName`.
pub fn check(password: &str, name: &str) -> Result<(), PasswordError> {
    let length = password.chars().count();
    if length < *LENGTH.start() {
        return Err(PasswordError::TooShort);
    }
    if length > *LENGTH.end() {
        return Err(PasswordError::TooLong);
    }
    let lower = password.to_lowercase();
    if COMMON.lines().any(|common| common == lower) {
        return Err(PasswordError::Common);
    }
    if lower == name.to_lowercase() {
        return Err(PasswordError::IsName);
    }
    Ok(())
}

fn argon2() -> Result<Argon2<'static>, PasswordError> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None)
        .map_err(|_| PasswordError::Hash("parameters refused"))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

/// The password as it is kept: argon2id in PHC form with a random salt. Takes tens of milliseconds of a processor and
/// 19 MiB: never call it on an async thread.
///
/// # Errors
/// `Hash` when the operating system gives no random bytes.
pub fn hash(password: &str) -> Result<String, PasswordError> {
    let mut salt = [0_u8; 16];
    rand::rngs::SysRng
        .try_fill_bytes(&mut salt)
        .map_err(|_| PasswordError::Hash("no random bytes"))?;
    let hash: PasswordHash = argon2()?
        .hash_password_with_salt(password.as_bytes(), &salt)
        .map_err(|_| PasswordError::Hash("hashing failed"))?;
    Ok(hash.to_string())
}

/// A hash with our parameters of a password that nobody has: nothing verifies against it but by chance of 2^-256.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5c2FsdG5vYm9keQ$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// Whether the password is the one behind this hash. Costs what [`hash`] costs, also for `None`, so that an unknown
/// account can't be told from a wrong password by time.
#[must_use]
pub fn verify(password: &str, kept: Option<&str>) -> bool {
    let Ok(argon2) = argon2() else { return false };
    let Ok(parsed) = PasswordHash::new(kept.unwrap_or(NOBODY)) else {
        return false;
    };
    let matches = argon2.verify_password(password.as_bytes(), &parsed).is_ok();
    matches && kept.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_are_length_and_commonness_only() {
        assert_eq!(check("short", "mara"), Err(PasswordError::TooShort));
        assert_eq!(check(&"x".repeat(129), "mara"), Err(PasswordError::TooLong));
        assert_eq!(check("Password1", "mara"), Err(PasswordError::Common));
        assert_eq!(check("Mara Quay", "mara quay"), Err(PasswordError::IsName));
        assert_eq!(check("tape on black", "mara"), Ok(()));
        assert_eq!(check("ÄÖÜäöüßé", "mara"), Ok(()));
    }

    #[test]
    fn nobodys_hash_costs_what_a_real_one_costs() {
        let nobody = PasswordHash::new(NOBODY).expect("the constant is in PHC form");
        let real = hash("tape on black").expect("random bytes");
        let real = PasswordHash::new(&real).expect("hash writes PHC form");
        assert_eq!(nobody.params.to_string(), real.params.to_string());
        assert_eq!(
            nobody.hash.map(|hash| hash.len()),
            real.hash.map(|hash| hash.len())
        );
    }

    #[test]
    fn a_hash_verifies_its_password_alone_and_has_the_stated_cost() {
        let kept = hash("tape on black").expect("random bytes");
        assert!(
            kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{kept}"
        );
        assert!(verify("tape on black", Some(&kept)));
        assert!(!verify("tape on white", Some(&kept)));
        assert!(!verify("tape on black", None));
        assert!(!verify("tape on black", Some("not a hash")));
        assert_ne!(kept, hash("tape on black").expect("random bytes"));
    }
}
