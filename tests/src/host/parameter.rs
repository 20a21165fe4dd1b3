//! Parameters as a host sees them.

use clack_extensions::params::{ParamInfo, ParamInfoFlags};

/// The number under which CLAP knows the parameter with this stable id: the framework's own
/// formula, a polynomial in 31 over the bytes with the top bit cleared.
///
/// ```
/// assert_eq!(procession_tests::host::parameter_number("ab"), 97 * 31 + 98);
/// ```
pub fn parameter_number(id: &str) -> u32 {
    let hash = id.bytes().fold(0u32, |hash, byte| {
        hash.wrapping_mul(31).wrapping_add(u32::from(byte))
    });
    hash & !(1 << 31)
}

/// A parameter as the plug-in declares it.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// CLAP's number; [`parameter_number`] of the stable id.
    pub number: u32,
    /// What the user reads.
    pub name: String,
    /// The group, or nothing.
    pub module: String,
    /// Lowest plain value.
    pub min: f64,
    /// Highest plain value.
    pub max: f64,
    /// Plain value of a new instance.
    pub default: f64,
    /// Whether a host may automate it.
    pub automatable: bool,
    /// Whether a host may modulate it.
    pub modulatable: bool,
    /// Whether only whole plain values count.
    pub stepped: bool,
    /// Whether it is kept from the user.
    pub hidden: bool,
    /// Whether a host may not set it.
    pub read_only: bool,
    /// Whether it is the plug-in's bypass.
    pub bypass: bool,
}

impl Parameter {
    pub(super) fn read(info: &ParamInfo) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let flag = |flag| info.flags.contains(flag);
        Self {
            number: info.id.get(),
            name: text(info.name),
            module: text(info.module),
            min: info.min_value,
            max: info.max_value,
            default: info.default_value,
            automatable: flag(ParamInfoFlags::IS_AUTOMATABLE),
            modulatable: flag(ParamInfoFlags::IS_MODULATABLE),
            stepped: flag(ParamInfoFlags::IS_STEPPED),
            hidden: flag(ParamInfoFlags::IS_HIDDEN),
            read_only: flag(ParamInfoFlags::IS_READONLY),
            bypass: flag(ParamInfoFlags::IS_BYPASS),
        }
    }
}
