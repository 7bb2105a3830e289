"""docs/keys.md is true: each procedure is played with the page's own lines, and ends with one account
on both ends, nothing lost, nothing counted twice, and evidence from before still good."""

import base64
import hashlib
import os
import pathlib
import re
import shutil
import sqlite3
import subprocess

import pytest

import programs as drive

PAGE = pathlib.Path(__file__).resolve().parents[2] / "docs" / "keys.md"
AS_OF = "2025-04-01T00:00:00Z"


def sections():
    """{number: its indented blocks, in order}"""
    found, number, block = {}, None, []
    for line in PAGE.read_text(encoding="utf-8").splitlines() + ["## 0. end"]:
        title = re.match(r"## (\d+)\. ", line)
        if line.startswith("    "):
            block.append(line[4:])
            continue
        if block:
            found.setdefault(number, []).append("\n".join(block) + "\n")
            block = []
        if title:
            number = int(title[1])
    return found


BLOCKS = sections()


class Scene:
    """An office and a rig with a line, some work, everything receipted, and one record proved."""

    def __init__(self, programs, office, rig, work, folder):
        self.p, self.office, self.rig, self.work, self.folder = programs, office, rig, work, folder
        self.stick = folder / "stick"
        self.stick.mkdir()
        self.proved = folder / "before"
        self.sizes = {}

    def play(self, number, *blocks, store=None):
        """Run blocks of a section (all of them by default) as the page has them."""
        chosen = BLOCKS[number] if not blocks else [BLOCKS[number][i] for i in blocks]
        env = dict(self.p.env, PATH=f"{self.p.folder}:{os.environ['PATH']}",
                   RIG=str(store or self.rig.store), OFFICE=self.office.store,
                   STICK=str(self.stick))
        done = subprocess.run(["sh", "-eu"], input="".join(chosen), env=env, capture_output=True,
                              text=True, timeout=120)
        assert done.returncode == 0, f"section {number}: {done.stdout}{done.stderr}"
        return done.stdout

    def courier(self, rig=None, status=0):
        """The stick there and back; what the rig says of the answers."""
        rig = rig or self.rig
        bundle, answer = self.stick / "c.fsb", self.stick / "c.receipt"
        rig.run("carry", "--out", bundle)
        if not bundle.exists():
            return None
        self.office.run("take", bundle, "--receipt", answer, status=None)
        bundle.unlink()
        return rig.run("receipt", answer, status=status)

    def receipt(self, rig=None):
        """What follows most procedures: section 3's take, confirm, receipt."""
        take = self.office.run("take", self.stick / "heron.fsb", "--receipt",
                               self.stick / "heron.receipt")
        self.office.run("confirm", "heron", "--by", "keeper")
        (rig or self.rig).run("receipt", self.stick / "heron.receipt")
        return take

    def settled(self, rig=None, hours=(), flag=""):
        """Both ends agree to the byte, the work of exactly these hours counts, each once."""
        rig = rig or self.rig
        assert rig.json("check")["pending"] == 0
        at_rig, at_office = drive.ledgers(self.office, rig, AS_OF)
        assert at_rig == at_office
        rows = self.work_hours(rig)
        assert rows == sorted(hours), f"work of hours {rows}, {sorted(hours)} expected"
        self.office.run("check")
        assert "renewal not confirmed" not in self.office.json("rig", "heron")["flags"]
        shown = self.office.run("rig", "heron").stdout
        assert (flag in shown) if flag else "not proved" not in shown, shown
        self.still_proved()

    def work_hours(self, rig):
        """The hours of all work entries in all logs that count, voided ones left out."""
        logs = [one["origin"] for one in self.office.json("rig", "heron")["logs"]]
        records = [record for log in logs
                   for record in self.office_records(rig, log)]
        void = {r["entry"]["leaf"] for _, r in records if r["kind"] == "amend" and "void" in r}
        return sorted(int(r["at"][11:13]) for leaf, r in records
                      if r["kind"] == "work" and leaf not in void)

    def office_records(self, rig, log):
        for row in rig.json("print", "--log", log):
            yield row["leaf"], row["record"]

    def prove(self):
        self.office.run("prove", "heron", 5, "--out", self.proved)

    def still_proved(self):
        self.p.run("audit", "verify", self.proved / "5.record.json")


@pytest.fixture()
def scene(programs, office, rig_of, begin, work, tmp_path):
    rig = begin(rig_of())
    scene = Scene(programs, office, rig, work, tmp_path)
    for hour in (5, 6):
        work(rig, hour)
    scene.courier()
    scene.prove()
    return scene


def copy(src, dst):
    shutil.rmtree(dst, ignore_errors=True)
    shutil.copytree(src, dst)


def stopped(rig):
    """The rig says so and gives no count."""
    done = rig.run("line", status=2)
    assert "history incomplete" in done.stdout and "ton-miles" not in done.stdout
    assert "count by hand" in done.stdout and "keep the day sheets" in done.stdout
    assert rig.json("line", status=2)["ledger"] is None
    assert rig.enter("state", "at=2025-03-02T00:00:00Z", "by=clerk", "state=working",
                     status=2).stderr.count("history incomplete") == 1


def test_every_block_of_the_page_is_played():
    """So that no line of it is left to belief: the sections below name them all; 11 and 12 are played in
    test_instruct.py, 13 in test_signers.py."""
    assert sorted(BLOCKS) == [3, 4, 5, 6, 7, 9, 11, 12, 13]


def test_nobody_enters_a_renewal_by_hand(scene):
    done = scene.rig.enter("renewal", "at=2025-03-02T00:00:00Z", "by=clerk", "why=because",
                           'from={"origin":"lantern-basin/heron/0011223344556677","root":'
                           '"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=","size":1}', status=None)
    assert done.returncode != 0 and "farspool-rig renew" in done.stderr, done.stderr


def test_rotation(scene):
    scene.work(scene.rig, 7)  # not sent before the renewal
    old = scene.rig.json("check")["origin"]
    scene.play(3)
    assert not os.path.exists(os.path.join(scene.rig.store, "rig.key"))
    scene.work(scene.rig, 8)
    scene.courier()
    scene.settled(hours=(5, 6, 7, 8))
    renewal = scene.rig.entries()[0]
    assert renewal["kind"] == "renewal" and renewal["from"]["origin"] == old and renewal["proof"]
    # Twice more, and evidence for a closed log is still made and still good.
    scene.rig.run("renew", "--why", "again")
    scene.rig.run("renew", "--why", "and again")
    scene.courier()
    scene.office.run("confirm", "heron", "--by", "keeper")
    scene.settled(hours=(5, 6, 7, 8))
    for side, *words in ((scene.rig, 4), (scene.office, "heron", 4)):
        side.run("prove", *words, "--log", old, "--out", scene.folder / "closed")
        scene.p.run("audit", "verify", scene.folder / "closed" / "4.record.json")


def test_a_renewal_whose_answer_is_lost_is_sent_again(scene):
    scene.rig.run("renew", "--why", "rotation")
    for name in ("one", "two"):
        scene.rig.run("carry", "--out", scene.stick / f"{name}.fsb")
        scene.office.run("take", scene.stick / f"{name}.fsb", "--receipt", scene.stick / "lost")
    scene.rig.run("receipt", scene.stick / "lost")
    scene.office.run("confirm", "heron", "--by", "keeper")
    scene.settled(hours=(5, 6))
    assert scene.office.run("confirm", "heron", "--by", "keeper", status=1).stderr


def test_a_thief_with_the_old_key_is_seen(scene):
    thief = drive.Rig(scene.p, "heron", scene.folder / "thief")
    copy(scene.rig.store, thief.store)
    scene.play(3)
    scene.work(thief, 9)
    scene.courier(thief, status=2)
    stopped(thief)
    assert scene.office.json("rig", "heron")["forks"] == 1
    scene.settled(hours=(5, 6))


def test_a_thief_who_renews_first_is_seen(scene):
    thief = drive.Rig(scene.p, "heron", scene.folder / "thief")
    copy(scene.rig.store, thief.store)
    thief.run("renew", "--why", "yearly rotation")
    scene.courier(thief)
    assert "renewal not confirmed" in scene.office.json("rig", "heron")["flags"]
    scene.work(scene.rig, 7)
    scene.courier(status=2)
    stopped(scene.rig)
    scene.play(7)
    scene.receipt()
    scene.settled(hours=(5, 6, 7), flag="not proved by the old key")


def test_a_lost_key(scene):
    scene.work(scene.rig, 7)
    os.unlink(os.path.join(scene.rig.store, "rig.key"))
    done = scene.rig.run("carry", "--out", scene.stick / "x.fsb", status=None)
    assert done.returncode != 0 and "renew" in done.stderr
    scene.work(scene.rig, 8)  # adding needs no key
    scene.play(4)
    scene.receipt()
    scene.settled(hours=(5, 6, 7, 8), flag="not proved by the old key")


def test_a_lost_key_with_a_bundle_that_never_arrived(scene):
    """Signed, not received: the same head is sent again without the key."""
    scene.work(scene.rig, 7)
    scene.rig.run("carry", "--out", scene.stick / "lost.fsb")
    os.unlink(os.path.join(scene.rig.store, "rig.key"))
    scene.work(scene.rig, 8)
    scene.play(4)
    scene.receipt()
    scene.settled(hours=(5, 6, 7, 8), flag="not proved by the old key")


def test_a_key_lost_before_the_first_contact(programs, office, rig_of, begin, work, tmp_path):
    rig = begin(rig_of())
    scene = Scene(programs, office, rig, work, tmp_path)
    work(rig, 5)
    os.unlink(os.path.join(rig.store, "rig.key"))
    scene.play(4)
    scene.receipt()
    assert rig.json("check")["pending"] == 0
    at_rig, at_office = drive.ledgers(office, rig, AS_OF)
    assert at_rig == at_office
    assert scene.work_hours(rig) == [5]


def test_an_empty_log_is_not_renewed(office, rig_of):
    rig = rig_of()
    assert "nothing is entered yet" in rig.run("renew", "--why", "x", status=64).stderr
    rig.enter("rig", "at=2025-03-01T00:00:00Z", "by=clerk", "mast=142ft", "drum=30in", "block=47000lb")


def test_a_pc_that_is_replaced(scene):
    shutil.rmtree(scene.rig.store)
    scene.play(5)
    scene.receipt()
    # The day sheet of the last days: what was received adds nothing.
    sheet = scene.folder / "sheet.csv"
    sheet.write_text("kind,at,by,op,depth\n" + "".join(
        f"work,2025-03-01T{hour:02}:00:00Z,driller-a,round-trip,9000ft\n" for hour in (5, 6, 7)))
    took = scene.rig.json("take", sheet)[0]
    assert (took["added"], took["skipped"]) == (1, 2), took
    scene.courier()
    scene.settled(hours=(5, 6, 7), flag="not proved by the old key")


@pytest.mark.parametrize("heard", ["entered since", "nothing new"])
def test_a_backup_put_back(scene, heard):
    copy(scene.rig.store, scene.folder / "backup")
    scene.work(scene.rig, 7)
    scene.work(scene.rig, 8)
    scene.courier()
    copy(scene.folder / "backup", scene.rig.store)
    hours = [5, 6, 7, 8]
    if heard == "entered since":
        scene.work(scene.rig, 8)   # a clerk types it again: the same piece of work
        scene.work(scene.rig, 9)
        hours.append(9)
        scene.courier(status=2)
        stopped(scene.rig)
        assert scene.office.json("rig", "heron")["forks"] == 1
    said = scene.play(6)
    assert "2 records taken back" in said
    if heard == "entered since":
        assert "1 record of this rig that the office lacks" in said
        assert "not counted twice" in said
    scene.receipt()
    scene.settled(hours=hours)
    sheet = scene.folder / "sheet.csv"
    sheet.write_text("kind,at,by,op,depth\n" + "".join(
        f"work,2025-03-01T{hour:02}:00:00Z,driller-a,round-trip,9000ft\n" for hour in hours))
    assert scene.rig.json("take", sheet)[0]["added"] == 0


def test_an_old_hand_back_is_refused(scene):
    scene.office.run("hand-back", "heron", "--out", scene.stick / "old.back")
    copy(scene.rig.store, scene.folder / "backup")
    scene.work(scene.rig, 7)
    scene.courier()
    copy(scene.folder / "backup", scene.rig.store)
    scene.work(scene.rig, 9)
    scene.courier(status=2)
    done = scene.rig.run("renew", "--why", "x", "--hand-back", scene.stick / "old.back", status=2)
    assert "ask for a new one" in done.stderr
    stopped(scene.rig)
    scene.play(6)
    scene.receipt()
    scene.settled(hours=(5, 6, 7, 9))


def test_a_renewal_before_the_fork_was_heard_of(scene):
    """The rig renews a store that was put back, without knowing: no dead end."""
    copy(scene.rig.store, scene.folder / "backup")
    scene.work(scene.rig, 7)
    scene.courier()
    copy(scene.folder / "backup", scene.rig.store)
    scene.work(scene.rig, 8)
    scene.rig.run("renew", "--why", "yearly rotation")
    scene.work(scene.rig, 9)
    assert "hand-back" in scene.courier(status=None).stderr
    scene.play(6)
    scene.receipt()
    scene.settled(hours=(5, 6, 7, 8, 9))


def test_a_backup_from_before_a_renewal(scene):
    copy(scene.rig.store, scene.folder / "backup")
    scene.play(3)
    scene.work(scene.rig, 7)
    scene.courier()
    copy(scene.folder / "backup", scene.rig.store)
    scene.work(scene.rig, 8)
    scene.courier(status=2)
    stopped(scene.rig)
    scene.play(7)
    scene.receipt()
    scene.settled(hours=(5, 6, 7, 8), flag="not proved by the old key")


def test_a_database_put_back_alone_is_seen_before_any_contact(scene):
    copy(scene.rig.store, scene.folder / "backup")
    scene.play(3)
    scene.work(scene.rig, 7)
    scene.courier()
    shutil.copy(scene.folder / "backup" / "journal.db", scene.rig.store)
    stopped(scene.rig)
    scene.play(6)  # the key of the newest log is still in the folder: it proves it
    scene.receipt()
    scene.settled(hours=(5, 6, 7))


def test_two_pcs_keep_the_same_record(scene):
    twin = drive.Rig(scene.p, "heron", scene.folder / "twin")
    copy(scene.rig.store, twin.store)
    scene.work(scene.rig, 7)
    scene.work(twin, 8)
    scene.work(twin, 9)
    scene.courier()
    scene.courier(twin, status=2)
    stopped(twin)
    scene.play(6, store=twin.store)
    scene.receipt(twin)
    scene.settled(twin, hours=(5, 6, 7, 8, 9))
    scene.work(scene.rig, 10)  # the first goes on: its log is closed now
    scene.courier(status=2)
    stopped(scene.rig)
    scene.play(7)
    scene.receipt()
    scene.settled(hours=(5, 6, 7, 8, 9, 10), flag="not proved by the old key")
    assert scene.office.json("rig", "heron")["forks"] == 2


def edit(store, index, old, new):
    """Somebody changes an entry, and takes away the trigger that forbids it."""
    db = sqlite3.connect(os.path.join(store, "journal.db"))
    db.execute("DROP TRIGGER entry_never_updated")
    (bytes_,) = db.execute("SELECT bytes FROM entry WHERE log = 1 AND idx = ?", (index,)).fetchone()
    assert old in bytes_
    db.execute("UPDATE entry SET bytes = ? WHERE log = 1 AND idx = ?",
               (bytes_.replace(old, new), index))
    db.commit()
    db.close()


def test_an_edited_database(scene):
    index = scene.rig.size() - 1
    edit(scene.rig.store, index, b"9000ft", b"1000ft")
    assert "problem" in scene.rig.run("check", status=2).stdout
    scene.work(scene.rig, 7)
    said = scene.play(6)
    assert "2 records of this rig that the office lacks" in said
    assert "1 of them shares time, kind and op with another record" in said
    false = [i for i, record in enumerate(scene.rig.entries()) if "1000ft" in str(record)]
    assert len(false) == 1
    scene.rig.enter("amend", "at=2025-03-01T20:00:00Z", "by=clerk", f"entry={false[0]}",
                    "reason=database was edited", "void=yes")
    scene.receipt()
    scene.courier()
    scene.settled(hours=(5, 6, 7))
    assert scene.rig.run("check").stdout.endswith("good\n")


def compact(entries):
    """docs/formats.md, section 2: the compact range of these entries, and their root."""
    roots = []
    for count, entry in enumerate(entries, 1):
        roots.append(hashlib.sha256(b"\0" + entry).digest())
        while count % 2 == 0:
            right = roots.pop()
            roots.append(hashlib.sha256(b"\1" + roots.pop() + right).digest())
            count //= 2
    root = roots[-1]
    for left in reversed(roots[:-1]):
        root = hashlib.sha256(b"\1" + left + root).digest()
    return len(entries).to_bytes(8, "big") + b"".join(roots), root


def test_a_careful_edit_is_seen_at_the_first_contact(scene):
    """Entry, tip, heads and signed-size changed so that the store agrees with itself."""
    edit(scene.rig.store, scene.rig.size() - 1, b"9000ft", b"1000ft")
    origin = scene.rig.json("print", "0")[0] and scene.office.json("rig", "heron")["logs"][0]["origin"]
    db = sqlite3.connect(os.path.join(scene.rig.store, "journal.db"))
    entries = [row[0] for row in db.execute("SELECT bytes FROM entry WHERE log = 1 ORDER BY idx")]
    tip, root = compact(entries)
    db.execute("UPDATE tip SET range = ?", (tip,))
    db.execute("DROP TRIGGER head_never_deleted")
    db.execute("DELETE FROM head")
    db.commit()
    db.close()
    with open(os.path.join(scene.rig.store, "signed-size"), "w", encoding="ascii") as f:
        f.write(f"{origin} {len(entries)} {base64.b64encode(root).decode()}\n")
    assert scene.rig.json("check")["problems"] == []
    scene.work(scene.rig, 7)
    scene.courier(status=2)
    stopped(scene.rig)
    assert scene.office.json("rig", "heron")["forks"] == 1
    said = scene.play(6)
    assert "1 of them shares time, kind and op with another record" in said
    false = [i for i, record in enumerate(scene.rig.entries()) if "1000ft" in str(record)]
    scene.rig.enter("amend", "at=2025-03-01T20:00:00Z", "by=clerk", f"entry={false[0]}",
                    "reason=database was edited", "void=yes")
    scene.receipt()
    scene.courier()
    scene.settled(hours=(5, 6, 7))


@pytest.mark.parametrize("since", ["records", "a renewal"])
def test_the_office_put_back(scene, since):
    backup = scene.folder / "office-backup"
    copy(scene.office.store, backup)
    scene.work(scene.rig, 7)
    scene.courier()
    if since == "a renewal":
        scene.rig.run("renew", "--why", "rotation")
        scene.work(scene.rig, 8)
        scene.courier()
    copy(backup, scene.office.store)
    scene.work(scene.rig, 9)
    if since == "a renewal":
        scene.courier()
    scene.play(9, 0)
    if since == "a renewal":
        scene.office.run("confirm", "heron", "--by", "keeper")
    scene.settled(hours=(5, 6, 7, 9) if since == "records" else (5, 6, 7, 8, 9))


def test_an_office_that_forgot_the_invitation(programs, office, rig_of, begin, work, tmp_path):
    copy(office.store, tmp_path / "office-backup")
    rig = begin(rig_of())
    scene = Scene(programs, office, rig, work, tmp_path)
    work(rig, 5)
    work(rig, 6)
    scene.courier()
    scene.prove()
    copy(tmp_path / "office-backup", office.store)
    work(rig, 7)
    assert "403" in scene.courier(status=2).stderr
    scene.play(9, 1, 2)
    scene.courier()
    scene.courier()
    scene.settled(hours=(5, 6, 7))


def test_an_office_put_back_is_refilled_over_the_link(programs, office, rig_of, begin, work, tmp_path):
    copy(office.store, tmp_path / "empty")
    office.serve()
    rig = begin(rig_of(url=office.intake))
    work(rig, 5)
    rig.run("push")
    rig.run("renew", "--why", "rotation")
    work(rig, 6)
    rig.run("push")
    office.stop()
    listen = office.intake.split("//")[1]
    # Back to the day after the invitation, before the first bundle.
    copy(tmp_path / "empty", office.store)
    office.run("readmit", next(pathlib.Path(rig.store).glob("invitation-*")))
    office.serve(listen=listen)
    work(rig, 7)
    rig.run("push")
    at_rig, at_office = drive.ledgers(office, rig, AS_OF)
    assert at_rig == at_office
    assert [len(log) for log in office.json("rig", "heron")["logs"]] and \
        sum(log["size"] for log in office.json("rig", "heron")["logs"]) == 8


def test_a_forged_answer_changes_nothing(scene):
    """Whatever a portal or a forger answers: no state moves without the office's signature."""
    scene.work(scene.rig, 7)
    scene.rig.run("carry", "--out", scene.stick / "x.fsb")
    before = scene.rig.json("check")
    page = b"<html>welcome to the camp's network</html>"
    note = ("farspool-answer/v1\nstatus 409\nbundle " + "0" * 64 + "\norigin "
            + before["origin"] + "\nsize 0\n\n— lantern-basin/instructions AAAAAAAA\n").encode()
    forged = b"farspool-answers/v1\n"
    for status, body in ((200, page), (409, page), (422, page), (409, note), (422, note),
                         (403, page), (500, page)):
        forged += b"answer %d %d\n" % (status, len(body)) + body
    (scene.stick / "forged.receipt").write_bytes(forged)
    scene.rig.run("receipt", scene.stick / "forged.receipt", status=2)
    assert scene.rig.json("check") == before
    scene.courier()
    scene.settled(hours=(5, 6, 7))


def test_a_forged_hand_back_changes_nothing(scene):
    scene.office.run("hand-back", "heron", "--out", scene.stick / "good.back")
    good = (scene.stick / "good.back").read_bytes()
    before = scene.rig.json("check")
    for at in range(0, len(good), max(1, len(good) // 40)):
        bad = bytearray(good)
        bad[at] ^= 0x01
        (scene.stick / "bad.back").write_bytes(bytes(bad))
        done = scene.rig.run("renew", "--why", "x", "--hand-back", scene.stick / "bad.back",
                             status=None)
        assert done.returncode != 0, f"byte {at} changed and taken"
        assert done.stderr.strip()
    for cut in range(1, len(good), max(1, len(good) // 20)):
        (scene.stick / "bad.back").write_bytes(good[:-cut])
        scene.rig.run("renew", "--why", "x", "--hand-back", scene.stick / "bad.back",
                      status=(1, 2, 64))
    assert scene.rig.json("check") == before
    assert sorted(os.listdir(scene.rig.store)) == sorted(
        name for name in os.listdir(scene.rig.store) if not name.startswith("rig-"))
