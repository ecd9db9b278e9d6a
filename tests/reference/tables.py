"""Exported Parquet read by pyarrow and duckdb, against the CSV of the same recording.

References: `pyarrow` (Apache-2.0) and `duckdb` (MIT), two readers of Parquet that share no code with
the program's.
"""

import duckdb
import pandas as pd
import pyarrow.parquet as pq
from common import analyse, demo, main, run


def exported(scenario, folder):
    archive = demo(scenario, folder)
    for kind in ("parquet", "csv"):
        run("export", archive, "--out", f"rows.{kind}", folder=folder)
    return archive, folder / "rows.parquet", pd.read_csv(folder / "rows.csv")


def check_two_readers_agree_with_the_csv(folder):
    for scenario in ("overdrawn-well", "supply-dips"):
        (folder / scenario).mkdir()
        _, parquet, csv = exported(scenario, folder / scenario)
        table = pq.read_table(parquet)
        assert table.column_names == list(csv.columns)
        assert table.num_rows == len(csv) > 1000
        assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
        frame = table.to_pandas()
        assert (frame["time"] == pd.to_datetime(csv["time"])).all()
        for name in csv.columns[1:]:
            mine, theirs = csv[name].astype("float32"), frame[name].astype("float32")
            assert (mine.eq(theirs) | (mine.isna() & theirs.isna())).all(), name
            low, high, count = duckdb.sql(
                f'select min("{name}"), max("{name}"), count(*) from \'{parquet}\''
            ).fetchall()[0]
            assert count == len(csv)
            assert (low, high) == (theirs.min(), theirs.max()), (name, low, high)
        first, last = duckdb.sql(
            f"select epoch_ms(min(time)), epoch_ms(max(time)) from '{parquet}'"
        ).fetchall()[0]
        assert [first, last] == [int(frame["time"].iloc[n].timestamp() * 1000 + 0.5) for n in (0, -1)]
        print(f"  {scenario}: {len(csv)} rows, {len(csv.columns)} columns")


def check_that_a_table_of_a_record_tells_the_same_story(folder):
    """The archive, and its Parquet written anew by pyarrow, give the same runs."""
    archive, parquet, _ = exported("overdrawn-well", folder)
    again = folder / "again.parquet"
    pq.write_table(pq.read_table(parquet).replace_schema_metadata(None), again)
    site = (folder / "demo/site.toml").read_text()
    first, second = (analyse(path, site, folder) for path in (archive, again))
    assert len(first["runs"]) == len(second["runs"]) > 10
    for key in ("start", "stop", "peak_current_a"):
        assert [r[key] for r in first["runs"]] == [r[key] for r in second["runs"]], key
    assert first["verdict"][0]["cause"] == second["verdict"][0]["cause"]


main(globals())
