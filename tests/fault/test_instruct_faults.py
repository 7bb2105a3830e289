"""Every durable step of taking an instruction, of writing one and of a key that follows another,
failed and killed in turn: each instruction is in the log once, whatever happened, and the office has a
key at every moment."""

import json
import shutil

from test_io_faults import each_fault, fleet, office, rig, rig_state  # noqa: F401


def kinds(store):
    return [json.loads(line)["kind"] for line in rig(store, "print").stdout.splitlines()]


def test_an_instruction_is_one_entry_whatever_fails(fleet):  # noqa: F811
    office(fleet / "office", "instruct", "heron", "message", "first")
    office(fleet / "office", "instruct", "heron", "message", "second")
    rig(fleet / "rig", "carry", "--out", fleet / "second.fsb")
    office(fleet / "office", "take", fleet / "second.fsb", "--receipt", fleet / "second.receipt")
    shutil.copytree(fleet / "rig", fleet / "base")
    size, _ = rig_state(fleet / "base")

    def after(copy, done):
        rig(copy, "check")
        now = kinds(copy).count("instruction")
        assert now <= 2 and (done.returncode != 0 or now == 2)
        rig(copy, "receipt", fleet / "second.receipt")
        assert kinds(copy).count("instruction") == 2
        assert rig_state(copy)[0] == size + 2
        # What was appended is named in the next bundle, and the office finds it.
        o = fleet / "o"
        shutil.rmtree(o, ignore_errors=True)
        shutil.copytree(fleet / "office", o)
        (fleet / "third.fsb").unlink(missing_ok=True)
        rig(copy, "carry", "--out", fleet / "third.fsb")
        office(o, "take", fleet / "third.fsb")
        states = [i["state"] for i in json.loads(office(o, "instruct", "heron", "--json").stdout)]
        assert states == ["in the rig's log"] * 2

    each_fault(fleet, lambda copy, **kw: rig(copy, "receipt", fleet / "second.receipt", **kw),
               after, stride=6)


def test_an_instruction_waits_or_was_never_written(fleet):  # noqa: F811
    shutil.copytree(fleet / "office", fleet / "base")

    def after(copy, done):
        office(copy, "check")
        listed = json.loads(office(copy, "instruct", "heron", "--json").stdout)
        assert len(listed) <= 1 and (done.returncode != 0 or len(listed) == 1)
        office(copy, "instruct", "heron", "message", "again")
        assert len(json.loads(office(copy, "instruct", "heron", "--json").stdout)) == len(listed) + 1

    each_fault(fleet, lambda copy, **kw: office(copy, "instruct", "heron", "message", "once", **kw),
               after, stride=4)


def test_a_key_follows_another_once_whatever_fails(fleet):  # noqa: F811
    shutil.copytree(fleet / "office", fleet / "base")
    old = json.loads(office(fleet / "base", "keys", "--json").stdout)["keys"]
    old = [k["key"] for k in old if k["what"] == "cosigner"]

    def after(copy, done):
        office(copy, "check")
        keys = json.loads(office(copy, "keys", "--json").stdout)["keys"]
        mine = [k["key"] for k in keys if k["what"] == "cosigner"]
        assert mine[0] == old[0] and len(mine) <= 2
        if len(mine) == 1:
            office(copy, "keys", "renew", "cosigner")
            keys = json.loads(office(copy, "keys", "--json").stdout)["keys"]
            mine = [k["key"] for k in keys if k["what"] == "cosigner"]
        assert len(mine) == 2
        listed = json.loads(office(copy, "instruct", "heron", "--json").stdout)
        told = [i["body"] for i in listed if i["about"] == "keys"]
        assert told == [f"cosigner {mine[1]}\n"]

    each_fault(fleet, lambda copy, **kw: office(copy, "keys", "renew", "cosigner", **kw),
               after, stride=4)
