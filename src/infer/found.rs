//! Where an ONNX Runtime library is looked for when none was named: beside the program, then in
//! the Python environment that the program was installed into, whose package `onnxruntime`
//! carries one. Files are looked for, Python itself is never run.

use std::cmp::Reverse;
use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::path::{Path, PathBuf};

/// The libraries found for a program in this folder, the preferred one first.
pub fn libraries(program_folder: &Path) -> Vec<PathBuf> {
    let beside = program_folder.join(format!("{DLL_PREFIX}onnxruntime{DLL_SUFFIX}"));
    let mut found: Vec<PathBuf> = Some(beside)
        .filter(|path| path.is_file())
        .into_iter()
        .collect();
    found.extend(of_python(program_folder));
    found
}

/// The libraries of the Python environment whose programs lie in this folder, newest first. A
/// user's own environment may hold the packages of several versions of Python.
fn of_python(programs: &Path) -> Vec<PathBuf> {
    let is_programs = programs
        .file_name()
        .is_some_and(|name| name == "bin" || name == "Scripts");
    let Some(root) = programs.parent().filter(|_| is_programs) else {
        return Vec::new();
    };
    let mut libraries: Vec<PathBuf> = package_folders(root)
        .iter()
        .flat_map(|packages| entries(&packages.join("onnxruntime").join("capi")))
        .filter(|path| is_library(path))
        .collect();
    libraries.sort_by_cached_key(|path| Reverse((version(path), path.clone())));
    libraries
}

/// The folders that may hold Python packages of the environment at `root`.
fn package_folders(root: &Path) -> Vec<PathBuf> {
    let mut folders = vec![
        // Windows: of an environment, and of a user's own packages.
        root.join("Lib").join("site-packages"),
        root.join("site-packages"),
    ];
    // Elsewhere. Where a system keeps a lib64, packages with libraries may lie there; a lib64 that
    // is a link leads to lib, and everything would be found twice.
    let libs = [root.join("lib"), root.join("lib64")];
    for lib in libs.iter().filter(|lib| !lib.is_symlink()) {
        for python in entries(lib) {
            if named(&python).starts_with("python") {
                folders.push(python.join("site-packages"));
                // What Debian calls the folder of its own Python.
                folders.push(python.join("dist-packages"));
            }
        }
    }
    folders
}

/// `libonnxruntime.so.1.32.0`, `libonnxruntime.1.32.0.dylib` or `onnxruntime.dll`; not the
/// libraries of single accelerators beside it.
fn is_library(path: &Path) -> bool {
    let name = named(path);
    let stem = format!("{DLL_PREFIX}onnxruntime.");
    name.starts_with(&stem) && name.contains(DLL_SUFFIX) && path.is_file()
}

/// The numbers in the library's name, as they are compared: 1.9 before 1.32.
fn version(library: &Path) -> Vec<u32> {
    named(library)
        .split('.')
        .filter_map(|part| part.parse().ok())
        .collect()
}

fn named(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// What a folder holds; nothing when it can't be read, which for a search is the same.
fn entries(folder: &Path) -> Vec<PathBuf> {
    std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Makes an empty file, with its folders, under a root.
    fn file(root: &Path, parts: &[&str]) -> PathBuf {
        let path = root.join(parts.iter().collect::<PathBuf>());
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, "").unwrap();
        path
    }

    /// The name of the library of one version, as the package for this system has it.
    fn library(version: &str) -> String {
        match std::env::consts::OS {
            "windows" => "onnxruntime.dll".to_owned(),
            "macos" => format!("libonnxruntime.{version}.dylib"),
            _ => format!("libonnxruntime.so.{version}"),
        }
    }

    fn capi<'a>(lib: &'a [&'a str], name: &'a str) -> Vec<&'a str> {
        [lib, &["onnxruntime", "capi", name]].concat()
    }

    #[test]
    fn nothing_is_found_where_nothing_lies() {
        let root = tempfile::tempdir().unwrap();
        let bin = root.path().join("bin");
        assert!(libraries(&bin).is_empty(), "no such folder");
        std::fs::create_dir(&bin).unwrap();
        assert!(libraries(&bin).is_empty());
    }

    #[test]
    fn the_package_of_the_environment_is_found_on_every_system() {
        let name = library("1.32.0");
        for (programs, lib) in [
            ("bin", &["lib", "python3.11", "site-packages"][..]),
            ("bin", &["lib64", "python3.13t", "site-packages"]),
            ("bin", &["lib", "python3.11", "dist-packages"]),
            ("Scripts", &["Lib", "site-packages"]),
            ("Scripts", &["site-packages"]),
        ] {
            let root = tempfile::tempdir().unwrap();
            let expected = file(root.path(), &capi(lib, &name));
            let other = format!("{DLL_PREFIX}onnxruntime_providers_shared{DLL_SUFFIX}");
            file(root.path(), &capi(lib, &other));
            file(root.path(), &capi(lib, "onnxruntime_inference.py"));
            assert_eq!(
                libraries(&root.path().join(programs)),
                [expected],
                "{programs}, {lib:?}"
            );
            assert!(
                libraries(&root.path().join("tools")).is_empty(),
                "a folder that is not one of programs of Python"
            );
        }
    }

    #[test]
    fn a_library_beside_the_program_comes_before_that_of_the_environment() {
        let root = tempfile::tempdir().unwrap();
        let packages = ["lib", "python3.11", "site-packages"];
        let of_python = file(root.path(), &capi(&packages, &library("1.32.0")));
        let name = format!("{DLL_PREFIX}onnxruntime{DLL_SUFFIX}");
        let beside = file(root.path(), &["bin", &name]);
        assert_eq!(libraries(&root.path().join("bin")), [beside, of_python]);
    }

    #[cfg(unix)]
    #[test]
    fn an_environment_whose_lib64_is_a_link_is_searched_once() {
        let root = tempfile::tempdir().unwrap();
        let packages = ["lib", "python3.11", "site-packages"];
        let expected = file(root.path(), &capi(&packages, &library("1.32.0")));
        std::os::unix::fs::symlink("lib", root.path().join("lib64")).unwrap();
        assert_eq!(libraries(&root.path().join("bin")), [expected]);
    }

    /// The package for Windows has no version in the library's name.
    #[cfg(not(windows))]
    #[test]
    fn of_several_the_newest_comes_first_whatever_the_python() {
        let root = tempfile::tempdir().unwrap();
        let put = |python, version| {
            let packages = ["lib", python, "site-packages"];
            file(root.path(), &capi(&packages, &library(version)))
        };
        let old = put("python3.12", "1.9.0");
        let newest = put("python3.10", "1.32.0");
        let newer = put("python3.11", "1.24.4");
        assert_eq!(
            libraries(&root.path().join("bin")),
            [newest, newer, old],
            "1.9 is older than 1.24"
        );
    }
}
