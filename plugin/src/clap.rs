//! The CLAP entry: the framework's plug-in, behind a guard that puts in order what a host lists.
//!
//! The framework takes a host at its word about events, and three of its habits cannot be mended
//! behind it ([`order`] says which). So the table of functions that a host is handed is a copy of
//! the framework's with four of them replaced: `process` and the parameters' `flush`, which see the
//! host's list through [`order::Order`], and the two by which these are found and put away.

#![expect(
    unsafe_code,
    reason = "a plug-in and its host are tables of C functions to each other"
)]

mod order;

use crate::Procession;
use clap_sys::entry::clap_plugin_entry;
use clap_sys::events::{clap_input_events, clap_output_events};
use clap_sys::ext::params::{CLAP_EXT_PARAMS, clap_param_info, clap_plugin_params};
use clap_sys::factory::plugin_factory::{CLAP_PLUGIN_FACTORY_ID, clap_plugin_factory};
use clap_sys::host::clap_host;
use clap_sys::plugin::{clap_plugin, clap_plugin_descriptor};
use clap_sys::process::{CLAP_PROCESS_ERROR, clap_process, clap_process_status};
use clap_sys::version::CLAP_VERSION;
use nice_plug::prelude::Plugin;
use nice_plug::wrapper::clap::{PluginDescriptor, Wrapper};
use nice_plug::wrapper::setup_logger;
use order::{Modulations, Order};
use std::ffi::{CStr, c_char, c_void};
use std::mem::MaybeUninit;
use std::sync::Arc;

/// Where a CLAP host enters.
#[unsafe(no_mangle)]
#[used]
#[allow(non_upper_case_globals, reason = "the name is CLAP's")]
pub static clap_entry: clap_plugin_entry = clap_plugin_entry {
    clap_version: CLAP_VERSION,
    init: Some(init),
    deinit: Some(deinit),
    get_factory: Some(factory),
};

static FACTORY: clap_plugin_factory = clap_plugin_factory {
    get_plugin_count: Some(count),
    get_plugin_descriptor: Some(descriptor),
    create_plugin: Some(create),
};

#[allow(
    clippy::disallowed_types,
    reason = "whoever describes the plug-in is not its audio thread"
)]
fn described() -> &'static PluginDescriptor {
    static DESCRIBED: std::sync::OnceLock<PluginDescriptor> = std::sync::OnceLock::new();
    DESCRIBED.get_or_init(PluginDescriptor::for_plugin::<Procession>)
}

extern "C" fn init(_: *const c_char) -> bool {
    setup_logger::<Procession>();
    true
}

extern "C" fn deinit() {}

extern "C" fn factory(id: *const c_char) -> *const c_void {
    // SAFETY: null, or a C string of the host's.
    if !id.is_null() && unsafe { CStr::from_ptr(id) } == CLAP_PLUGIN_FACTORY_ID {
        (&raw const FACTORY).cast()
    } else {
        std::ptr::null()
    }
}

extern "C" fn count(_: *const clap_plugin_factory) -> u32 {
    1
}

extern "C" fn descriptor(
    _: *const clap_plugin_factory,
    index: u32,
) -> *const clap_plugin_descriptor {
    match index {
        0 => described().clap_plugin_descriptor(),
        _ => std::ptr::null(),
    }
}

extern "C" fn create(
    _: *const clap_plugin_factory,
    host: *const clap_host,
    id: *const c_char,
) -> *const clap_plugin {
    // SAFETY: null, or a C string of the host's.
    if id.is_null() || unsafe { CStr::from_ptr(id) } != described().clap_id() {
        return std::ptr::null();
    }
    // SAFETY: the host that asks outlives what it is given; the framework's table takes over the
    // one count of its wrapper, and `destroy` gives it back.
    unsafe {
        let wrapper = Arc::into_raw(Wrapper::<Procession>::new(host));
        Guarded::before((*wrapper).clap_plugin.as_ptr())
    }
}

/// What a host holds. Its first field is the table that it knows, so that a pointer to the one is
/// a pointer to the other.
#[repr(C)]
struct Guarded {
    /// The framework's, with the same data, so that all of the framework's functions take it for
    /// their own.
    table: clap_plugin,
    /// The framework's own.
    inner: clap_plugin,
    /// The framework's, with our `flush`.
    params: clap_plugin_params,
    inner_flush: Flush,
    modulations: Modulations,
}

type Flush = Option<
    unsafe extern "C" fn(*const clap_plugin, *const clap_input_events, *const clap_output_events),
>;

impl Guarded {
    /// A guard before the framework's plug-in. [`Guarded::destroy`] puts both away.
    ///
    /// # Safety
    /// `inner` is the table of a wrapper that nobody else has been told of.
    unsafe fn before(inner: *const clap_plugin) -> *const clap_plugin {
        // SAFETY: as promised; the framework hands its own tables out, or null.
        let (framework, params) = unsafe {
            let find = (*inner).get_extension;
            let params = find.map_or(std::ptr::null(), |find| {
                find(inner, CLAP_EXT_PARAMS.as_ptr())
            });
            (*inner, params.cast::<clap_plugin_params>().as_ref())
        };
        let Some(&params) = params else {
            return inner;
        };
        let guarded = Box::new(Self {
            table: clap_plugin {
                destroy: Some(Self::destroy),
                process: Some(Self::process),
                get_extension: Some(Self::get_extension),
                ..framework
            },
            inner: framework,
            params: clap_plugin_params {
                flush: Some(Self::flush),
                ..params
            },
            inner_flush: params.flush,
            // SAFETY: the framework answers for its parameters as soon as it is made.
            modulations: Modulations::of(unsafe { numbers(inner, &params) }),
        });
        Box::into_raw(guarded).cast()
    }

    /// # Safety
    /// `plugin` comes from [`Guarded::before`], and is not destroyed.
    unsafe fn of<'a>(plugin: *const clap_plugin) -> &'a Self {
        // SAFETY: as promised; the table is the first field of a `repr(C)`.
        unsafe { &*plugin.cast::<Self>() }
    }

    unsafe extern "C" fn destroy(plugin: *const clap_plugin) {
        // SAFETY: a host destroys what it was given, once, and asks nothing of it any more.
        unsafe {
            let guarded = Box::from_raw(plugin.cast_mut().cast::<Self>());
            if let Some(destroy) = guarded.inner.destroy {
                destroy(plugin);
            }
        }
    }

    unsafe extern "C" fn get_extension(
        plugin: *const clap_plugin,
        id: *const c_char,
    ) -> *const c_void {
        // SAFETY: the plug-in is what the host was given; the id is null or a C string.
        unsafe {
            let guarded = Self::of(plugin);
            if !id.is_null() && CStr::from_ptr(id) == CLAP_EXT_PARAMS {
                return (&raw const guarded.params).cast();
            }
            let find = guarded.inner.get_extension;
            find.map_or(std::ptr::null(), |find| find(plugin, id))
        }
    }

    /// # Real-time
    /// Adds no allocation to the framework's, and bounded work an event.
    unsafe extern "C" fn process(
        plugin: *const clap_plugin,
        process: *const clap_process,
    ) -> clap_process_status {
        // SAFETY: the plug-in is what the host was given, the rest as CLAP has it for `process`:
        // null, or valid until it returns. The list that is handed on lives as long.
        unsafe {
            let guarded = Self::of(plugin);
            let (Some(inner), Some(given)) = (guarded.inner.process, process.as_ref()) else {
                return CLAP_PROCESS_ERROR;
            };
            let Some(listed) = given.in_events.as_ref() else {
                return inner(plugin, process);
            };
            let room = Procession::INPUT_EVENT_CAPACITY as u32;
            let order = Order::new(listed, given.frames_count, room, &guarded.modulations);
            let list = order.list();
            let ordered = clap_process {
                in_events: &raw const list,
                ..*given
            };
            inner(plugin, &raw const ordered)
        }
    }

    unsafe extern "C" fn flush(
        plugin: *const clap_plugin,
        listed: *const clap_input_events,
        out: *const clap_output_events,
    ) {
        // SAFETY: as in `process`.
        unsafe {
            let guarded = Self::of(plugin);
            let Some(inner) = guarded.inner_flush else {
                return;
            };
            let Some(listed) = listed.as_ref() else {
                return inner(plugin, listed, out);
            };
            let room = Procession::INPUT_EVENT_CAPACITY as u32;
            let order = Order::new(listed, 0, room, &guarded.modulations);
            let list = order.list();
            inner(plugin, &raw const list, out);
        }
    }
}

/// The numbers by which a host knows the parameters.
///
/// # Safety
/// `plugin` is a plug-in of the framework's, and `params` its table.
unsafe fn numbers(plugin: *const clap_plugin, params: &clap_plugin_params) -> Vec<u32> {
    let (Some(count), Some(get_info)) = (params.count, params.get_info) else {
        return Vec::new();
    };
    // SAFETY: as promised; what is read was filled in.
    let number = |index| unsafe {
        let mut info = MaybeUninit::<clap_param_info>::zeroed();
        get_info(plugin, index, info.as_mut_ptr()).then(|| (*info.as_ptr()).id)
    };
    // SAFETY: as promised.
    (0..unsafe { count(plugin) }).filter_map(number).collect()
}
