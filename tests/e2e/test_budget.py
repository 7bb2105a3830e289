"""What is sent when, and what a day may cost: `run` with classes and a budget, `push` by hand."""

import shutil

import pytest



@pytest.fixture()
def conf(tmp_path):
    """conf(key=value…): the environment with a rig.conf of that section `link`."""
    def make(**keys):
        path = tmp_path / "rig.conf"
        lines = [f"{key.replace('_', '-')} = {value}" for key, value in keys.items()]
        path.write_text("\n".join(["[link]", *lines, ""]))
        return {"FARSPOOL_RIG_CONF": str(path)}
    return make


def work(rig, minute, **more):
    rig.enter("work", f"at=2025-03-02T10:{minute:02}:00Z", "by=clerk", "op=round-trip", "depth=4000ft",
              **more)


def cut(rig):
    rig.enter("cut", "at=2025-03-02T12:00:00Z", "by=clerk", "length=90ft", "reason=goal")


def test_bytes_are_counted_across_processes_and_shown(serving, rig_of, begin):
    rig = begin(rig_of(url=serving.intake))
    assert rig.json("line")["link"] == {
        "bytes_today": 0, "day_bytes": None, "last_failure": None, "next_try": None,
        "used_up": False, "waits_for": "nothing"}
    first = rig.json("push")
    used = rig.json("line")["link"]["bytes_today"]
    assert first["bytes"] + 500 < used < first["bytes"] + 2500
    work(rig, 1)
    rig.run("push")
    assert rig.json("line")["link"]["bytes_today"] > used + 700
    assert "bytes used today (UTC)" in rig.run("line").stdout


def test_a_used_up_day_holds_routine_records_and_lets_a_cut_go(serving, office, rig_of, begin, conf):
    rig = begin(rig_of(url=serving.intake))
    rig.run("push")
    env = conf(day_bytes=6000, reserve_percent=50)
    work(rig, 1)
    # Something below the reserve is left after the first: another push or two use it up.
    for minute in range(2, 8):
        done = rig.run("run", "--once", env=env, status=None)
        if done.returncode == 75:
            break
        work(rig, minute)
    assert done.returncode == 75, done
    assert "wait for the next day" in done.stderr
    link = rig.json("line", env=env)["link"]
    assert link["used_up"] and link["waits_for"] == "day" and link["next_try"].endswith("T00:00:00Z")
    assert "used up" in rig.run("line", env=env).stdout
    held = office.json("rig", "heron")["size"]
    assert held < rig.size()
    # A cut takes the reserve, and what lies below it goes with it.
    cut(rig)
    rig.run("run", "--once", env=env, status=None)
    assert office.json("rig", "heron")["size"] == rig.size()
    # By hand the budget does not hold.
    work(rig, 9)
    assert rig.run("run", "--once", env=env, status=None).returncode == 75
    assert rig.json("push", env=env)["pending"] == 0
    assert rig.json("line", env=env)["link"]["used_up"]


def test_a_link_that_is_down_shows_the_next_try_and_why(serving, rig_of, begin):
    rig = begin(rig_of(url=serving.intake))
    serving.stop()
    rig.run("run", "--once", status=69)
    link = rig.json("line")["link"]
    assert link["waits_for"] == "link" and link["next_try"] and "/bundle" in link["last_failure"]
    assert link["bytes_today"] > 0
    serving.serve(listen=":".join(map(str, ("127.0.0.1", serving.intake.rsplit(":", 1)[1]))))
    rig.run("push")
    link = rig.json("line")["link"]
    assert link["waits_for"] == "nothing" and link["last_failure"] is None


def test_an_office_restored_to_before_the_enrolment_is_refilled(serving, office, rig_of, begin, tmp_path):
    rig = rig_of(url=serving.intake)
    serving.stop()
    shutil.copytree(office.store, tmp_path / "backup")
    listen = "127.0.0.1:" + serving.intake.rsplit(":", 1)[1]
    serving.serve(listen=listen)
    begin(rig)
    rig.run("push")
    serving.stop()
    shutil.rmtree(office.store)
    shutil.move(tmp_path / "backup", office.store)
    # By courier at once; the enrolment goes along.
    work(rig, 1)
    rig.run("carry", "--out", tmp_path / "a.fsb")
    office.run("take", tmp_path / "a.fsb", "--receipt", tmp_path / "a.receipt", status=None)
    rig.run("receipt", tmp_path / "a.receipt", status=None)
    assert rig.json("line")["went_back"]
    serving.serve(listen=listen)
    rig.run("push")
    assert office.json("rig", "heron")["root"] == rig.json("check")["root"]
    assert not rig.json("line")["went_back"]
