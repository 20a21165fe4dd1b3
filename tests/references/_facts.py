"""Runs an example of procession-core and reads the JSON it prints."""

import json
import pathlib
import subprocess

WORKSPACE = pathlib.Path(__file__).resolve().parents[2]


def facts(example, *arguments):
    command = ["cargo", "run", "--quiet", "--package", "procession-core", "--example", example, "--"]
    printed = subprocess.run(
        command + list(arguments), cwd=WORKSPACE, check=True, capture_output=True, text=True
    )
    return json.loads(printed.stdout)
