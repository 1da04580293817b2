"""What may depend on what, under which licences, and what stands at the top level."""

import json
import subprocess
import sys

# Crate of the project -> crates of the project that it may use.
ARROWS = {
    "deepbend-core": set(),
    "deepbend-planner": {"deepbend-core"},
    "deepbend-ledger": {"deepbend-core"},
    "deepbend-store": {"deepbend-core", "deepbend-ledger"},
    "deepbend-contract": {"deepbend-core"},
    "deepbend-server": {
        "deepbend-core",
        "deepbend-planner",
        "deepbend-ledger",
        "deepbend-store",
        "deepbend-contract",
    },
    "deepbend-cli": {"deepbend-core", "deepbend-contract", "deepbend-server"},
}
# What a pure crate must not reach, however deep.
IMPURE = {"tokio", "tonic", "prost", "sled", "rand", "getrandom", "chrono", "time", "hyper", "mio"}
PURE = {"deepbend-core", "deepbend-planner", "deepbend-ledger"}
# The engine stays behind the store's trait.
ONLY_FOR = {"sled": {"deepbend-store"}, "tonic": {"deepbend-contract", "deepbend-server", "deepbend-cli"}}
LICENCES = {
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    # Of the file, not of the work: as a library, unchanged, it may be linked with any licence.
    "MPL-2.0+",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
}
TOP = {
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "proto",
    "crates",
    "tests",
    "deploy",
    "rust-toolchain.toml",
}


def run(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def allowed(expression):
    """Whether a licence expression can be met: any side of OR, all sides of AND."""
    text = expression.replace("/", " OR ").replace("(", " ").replace(")", " ")
    return any(
        all(part.strip() in LICENCES for part in choice.split(" AND "))
        for choice in text.split(" OR ")
    )


def faults():
    metadata = json.loads(run("cargo", "metadata", "--format-version", "1", "--locked"))
    packages = {package["id"]: package for package in metadata["packages"]}
    nodes = {node["id"]: node for node in metadata["resolve"]["nodes"]}

    def normal(node):
        for dep in node["deps"]:
            if any(kind["kind"] is None for kind in dep["dep_kinds"]):
                yield dep["pkg"]

    def reach(start):
        seen, todo = set(), [start]
        while todo:
            for dep in normal(nodes[todo.pop()]):
                if dep not in seen:
                    seen.add(dep)
                    todo.append(dep)
        return {packages[dep]["name"] for dep in seen}

    for member in metadata["workspace_members"]:
        name = packages[member]["name"]
        if name not in ARROWS:
            continue
        direct = {packages[dep]["name"] for dep in normal(nodes[member])}
        for wrong in sorted((direct & set(ARROWS)) - ARROWS[name]):
            yield f"{name} must not depend on {wrong}"
        if name in PURE:
            for wrong in sorted(reach(member) & IMPURE):
                yield f"{name} is pure and must not reach {wrong}"
        for library, users in ONLY_FOR.items():
            if library in direct and name not in users:
                yield f"{name} must not use {library} directly"
    for package in packages.values():
        if package["source"] and not allowed(package["license"] or ""):
            yield f"{package['name']} {package['version']}: licence {package['license']}"
    tracked = {path.split("/")[0] for path in run("git", "ls-files").splitlines()}
    for extra in sorted(path for path in tracked - TOP if not path.startswith(".")):
        yield f"{extra} does not belong at the top level"
    for missing in sorted(TOP - tracked):
        yield f"{missing} is missing at the top level"


found = list(faults())
print("\n".join(found) if found else "boundaries hold")
sys.exit(1 if found else 0)
