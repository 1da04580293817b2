//! Compiles the contract in `proto/` into Rust, without `protoc`.

#![allow(
    clippy::disallowed_methods,
    reason = "a build script is told its folder by the environment"
)]

use std::error::Error;
use std::path::PathBuf;
use std::{env, fs};

use prost::Message as _;

const PROTO: &str = "../../proto";
const SERVICES: [&str; 5] = [
    "deepbend/v1/matching_service.proto",
    "deepbend/v1/inventory_service.proto",
    "deepbend/v1/trip_service.proto",
    "deepbend/v1/mechanics_service.proto",
    "deepbend/v1/sync_service.proto",
];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed={PROTO}");
    let files = protox::compile(SERVICES, [PROTO])?;
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::write(out.join("descriptor.bin"), files.encode_to_vec())?;
    let mut config = prost_build::Config::new();
    config.enable_type_names();
    // A map in the order of its keys: the same message always has the same bytes.
    config.btree_map(["."]);
    tonic_prost_build::configure().compile_fds_with_config(files, config)?;
    Ok(())
}
