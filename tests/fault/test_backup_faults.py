"""Every durable step of a backup failed and killed in turn: what has the name is whole."""

import os
import shutil

from test_io_faults import each_fault, fleet, office  # noqa: F401


def test_a_backup_is_whole_or_has_no_name(fleet):  # noqa: F811
    shutil.copytree(fleet / "office", fleet / "base")
    safe = fleet / "safe"
    fault = []

    def backup(copy, **kw):
        fault[:] = [kw["fault"]]
        shutil.rmtree(safe, ignore_errors=True)
        safe.mkdir()
        return office(copy, "backup", "--out", safe / "b", "--with-keys", **kw)

    def after(copy, done):
        left = os.listdir(safe)
        if "b" in left:
            assert done.returncode <= 0
            office(safe / "b", "check")
        else:
            assert done.returncode != 0
        if done.returncode > 0:
            assert done.stderr.strip()
            # With ENOSPC+ nothing can be removed either, other than on a real disk.
            assert left == [] or fault[0].endswith("ENOSPC+"), left
        assert all(n == "b" or n.startswith("b.part-") for n in left)
        office(copy, "check")

    each_fault(fleet, backup, after, stride=17)
