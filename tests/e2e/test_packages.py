"""The Debian packages: what is in them, and (FSP_LONG=1, as root, with debootstrap and a mirror) a life in a
clean root: installed, used as the service's user, upgraded, removed, purged."""

import os
import pathlib
import shutil
import subprocess

import pytest

BIN = pathlib.Path(os.environ["FSP_BIN"])
ROOT = pathlib.Path(__file__).parents[2]
MIRROR = "http://deb.debian.org/debian"
LIFE = """
set -eu
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq
apt-get install -y -qq --no-install-recommends /tmp/*.deb >/tmp/log 2>&1
for user in farspool farspool-office; do
    test "$(stat -c '%U %a' /var/lib/$user)" = "$user 700"
done
office="setpriv --reuid farspool-office --regid farspool-office --clear-groups"
rig="setpriv --reuid farspool --regid farspool --clear-groups"
$office farspool-office init --fleet lantern-basin
$office farspool-office invite heron --url http://127.0.0.1:8463 --out /var/tmp/heron.invitation
chmod 644 /var/tmp/heron.invitation
$rig farspool-rig init --invitation /var/tmp/heron.invitation
$rig farspool-rig enter slip at=2026-03-01T00:00:00Z by=clerk length=30ft
$rig farspool-rig carry --out /var/tmp/heron.fsb
chmod 644 /var/tmp/heron.fsb
$office farspool-office take /var/tmp/heron.fsb --receipt /var/tmp/heron.receipt
$rig farspool-rig receipt /var/tmp/heron.receipt
echo == an upgrade keeps the store and what was changed in the configuration
sed -i 's/every-s = 30/every-s = 31/' /etc/farspool/rig.conf
apt-get install -y -qq --reinstall /tmp/farspool-rig_*.deb >>/tmp/log 2>&1
grep -qx 'every-s = 31' /etc/farspool/rig.conf
$rig farspool-rig check
echo == removed and purged without an answer, the store stays
apt-get remove -y -qq farspool-rig >>/tmp/log 2>&1
test ! -e /usr/bin/farspool-rig
apt-get purge -y -qq farspool-rig >>/tmp/log 2>&1
test -e /var/lib/farspool/store/journal.db
test ! -e /etc/farspool/rig.conf
echo == installed again it goes on
apt-get install -y -qq /tmp/farspool-rig_*.deb >>/tmp/log 2>&1
setpriv --reuid farspool --regid farspool --clear-groups farspool-rig check
echo == purged with a yes, it is gone
echo "farspool-rig farspool-rig/remove-store boolean true" | debconf-set-selections
apt-get purge -y -qq farspool-rig >>/tmp/log 2>&1
test ! -e /var/lib/farspool
test -e /var/lib/farspool-office/store/shelf.db
echo == done
"""


@pytest.fixture(scope="module")
def packages(tmp_path_factory):
    out = tmp_path_factory.mktemp("packages")
    subprocess.run(["cpack", "-G", "DEB", "-B", out, "--config", BIN.parent / "CPackConfig.cmake"],
                   check=True, capture_output=True, timeout=300, cwd=out)
    return {path.name.split("_")[0]: path for path in out.glob("*.deb")}


def contents(package):
    done = subprocess.run(["dpkg-deb", "-c", package], check=True, capture_output=True, text=True)
    return {line.split()[5][1:]: line.split()[:2] for line in done.stdout.splitlines()}


def field(package, name):
    return subprocess.run(["dpkg-deb", "-f", package, name], check=True, capture_output=True,
                          text=True).stdout.strip()


def test_each_program_comes_with_its_manual_completion_and_documents(packages):
    assert sorted(packages) == ["farspool-audit", "farspool-office", "farspool-rig"]
    for name, package in packages.items():
        held = contents(package)
        for path in (f"/usr/bin/{name}", f"/usr/share/man/man1/{name}.1", f"/usr/share/doc/{name}/README.md",
                     f"/usr/share/bash-completion/completions/{name}"):
            assert path in held, path
        assert all(owner == "root/root" for _, owner in held.values())
        assert not [path for path in held if path.endswith((".a", ".h"))]


def test_services_come_with_unit_user_and_a_configuration_that_is_kept(packages, tmp_path):
    for part, user in (("rig", "farspool"), ("office", "farspool-office")):
        package = packages[f"farspool-{part}"]
        held = contents(package)
        for path in (f"/lib/systemd/system/farspool-{part}.service", f"/etc/farspool/{part}.conf",
                     f"/usr/lib/sysusers.d/farspool-{part}.conf",
                     f"/usr/share/man/man5/farspool-{part}.conf.5"):
            assert path in held, path
        control = tmp_path / part
        subprocess.run(["dpkg-deb", "-e", package, control], check=True)
        assert (control / "conffiles").read_text() == f"/etc/farspool/{part}.conf\n"
        for script in ("postinst", "prerm", "postrm"):
            text = (control / script).read_text()
            assert "@" not in text and os.access(control / script, os.X_OK)
            assert subprocess.run(["sh", "-n", control / script]).returncode == 0
        unit = (ROOT / f"conf/farspool-{part}.service").read_text()
        assert f"User={user}\n" in unit and f"/var/lib/{user}" in (control / "postinst").read_text()


def test_the_auditors_package_needs_neither_database_nor_network(packages):
    depends = field(packages["farspool-audit"], "Depends")
    assert "libsodium" in depends
    for library in ("sqlite", "curl", "microhttpd", "gnutls"):
        assert library not in depends


def test_what_is_installed_runs(packages, tmp_path):
    for name, package in packages.items():
        subprocess.run(["dpkg-deb", "-x", package, tmp_path], check=True)
        done = subprocess.run([tmp_path / "usr/bin" / name, "--version"], capture_output=True, text=True)
        assert done.stdout == f"{name} {field(package, 'Version')}\n"


@pytest.mark.skipif(os.environ.get("FSP_LONG") != "1" or os.geteuid() != 0
                    or shutil.which("debootstrap") is None,
                    reason="a clean root: FSP_LONG=1, root, debootstrap and a mirror")
def test_a_life_in_a_clean_root(packages, tmp_path):
    clean = tmp_path / "root"
    subprocess.run(["debootstrap", "--variant=minbase", "bookworm", clean, MIRROR], check=True,
                   capture_output=True, timeout=1200)
    for package in packages.values():
        shutil.copy(package, clean / "tmp")
    (clean / "tmp/life").write_text(LIFE)
    done = subprocess.run(["chroot", clean, "sh", "/tmp/life"], capture_output=True, text=True, timeout=1200)
    assert done.returncode == 0 and done.stdout.endswith("== done\n"), done.stdout + done.stderr
