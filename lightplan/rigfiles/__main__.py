"""Print the JSON Schema of the rig file: ``python -m lightplan.rigfiles``."""

from lightplan.rigfiles.schema import json_schema_text

if __name__ == "__main__":  # not while doctests are collected
    print(json_schema_text(), end="")
