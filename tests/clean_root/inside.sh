#!/bin/bash
# Run by the unit trial.service in the booted clean root: each line of /root/trial.out is "ok WHAT" or "FAULT WHAT".
# Everything is done as the guide says it, as root, with no network but the loopback.
exec 3>/root/trial.out >/root/trial.log 2>&1
set -x
cd /root || exit 1
config=/etc/coldbrood/coldbrood.toml
coldbrood=/usr/local/bin/coldbrood
checkout=/root/coldbrood

check() {
    local what=$1
    shift
    if "$@"; then echo "ok $what" >&3; else echo "FAULT $what" >&3; fi
}

# wait_for SECONDS COMMAND...
wait_for() {
    local until=$((SECONDS + $1))
    shift
    until "$@"; do
        [ "$SECONDS" -lt "$until" ] || return 1
        sleep 0.5
    done
}

property() { systemctl show -p "$1" --value coldbrood; }
is_up() { [ "$(property ActiveState)" = active ]; }
restarted() { [ "$(property NRestarts)" -ge 1 ] && is_up; }
was_told() { grep -q "$1" received; }
kept() { "$coldbrood" export --config "$config" "tables-$1" >/dev/null && grep -c "box-a" "tables-$1/readings.csv"; }
has_reading() { "$coldbrood" status --config "$config" --json | grep -q "\"temperature_c\": $1"; }
page_opens() {
    local link
    link=$("$coldbrood" page link --no-code --config "$config" | sed 's,//[^:]*:,//127.0.0.1:,')
    python3 -c 'import sys; from http import cookiejar; from urllib import request
jar = request.HTTPCookieProcessor(cookiejar.CookieJar())
page = request.build_opener(jar).open(sys.argv[1], timeout=10)
sys.exit(not (page.status == 200 and b"<html" in page.read()))' "$link"
}
half_made() {
    local version
    for version in /opt/coldbrood/version-*; do
        [ ! -e "$version/complete" ] && compgen -G "$version/lib/python3*/site-packages/n*" >/dev/null && return
    done
    return 1
}

say() {
    /opt/coldbrood/.venv/bin/python -c 'import sys; from paho.mqtt import publish
publish.single(sys.argv[1], sys.argv[2], 1, hostname="127.0.0.1", auth={"username": "box-a", "password": sys.argv[3]})' \
        coldbrood/larch-lane/box-a/reading "$1" "$probe_password"
}

# Each installed package that packages.lock does not name at its very version, pip and coldbrood aside.
off_the_lock() {
    /opt/coldbrood/.venv/bin/python -c 'import sys
from importlib.metadata import distributions
have = {f"{d.name.lower().replace(chr(95), chr(45))}=={d.version}" for d in distributions()}
have = {line for line in have if line.split("==")[0] not in {"pip", "setuptools", "coldbrood"}}
assert len(have) > 10, have
print(*sorted(have - set(open(sys.argv[1]).read().split())))' "$checkout/deploy/packages.lock" || echo failed
}

python3 "$checkout/tests/clean_root/receiver.py" 8099 received &
check "each package is of the version that the tests ran with" test -z "$(off_the_lock)"
check "what nobody synced waits half an hour, by a file that the kernel is given at the start" \
    grep -q '^vm.dirty_expire_centisecs = 180000$' /etc/sysctl.d/60-coldbrood.conf
check "broker runs, for ever restarted" wait_for 20 systemctl -q is-active mosquitto
check "without a config nothing is started, and that is no failure" test "$(property ConditionResult)$(property Result)" = nosuccess

cat >answers.toml <<'ANSWERS'
site = "larch-lane"
time_zone = "Etc/UTC"
place = "50 0"
bedtime = "22:00"
rising = "06:30"
broker = "127.0.0.1"
broker_user = "coldbrood"
boxes = "a"
chicks_a = "16"
inside_a = "75 x 55 x 40"
insulation_a = "50 eps"
jugs_a = "2 x 3.8"
fill_c_a = "60"
wrapped_a = "no"
coldest_c = "5"
probe_a = "box-a"
probe_outdoor = "outdoor"
phone_url = "json://127.0.0.1:8099/"
write = "yes"
ANSWERS
chmod 600 answers.toml
began=$SECONDS
check "setup, its $(grep -c = answers.toml) answers from a file" "$coldbrood" setup --config "$config" --answers answers.toml
cp "$config" first.toml
check "setup again, keeping what is there" sh -c "grep -v phone_url answers.toml >again.toml; chmod 600 again.toml; \
    $coldbrood setup --config $config --answers again.toml"
check "changes no byte of the config" cmp "$config" first.toml
check "the config is sound" "$coldbrood" check --config "$config"
check "swap renews a probe's password" "$coldbrood" probe swap box-a --config "$config" --cell li-18650
probe_password=$(sed -n 's/.*"password": "\([^"]*\)".*/\1/p' box-a.probe.json | head -n 1)
check "the broker takes new passwords" systemctl reload mosquitto
check "it says READY=1 and is active" systemctl start coldbrood
check "secrets came as credentials" test -s /run/credentials/coldbrood.service/secrets_phone-url
check "only its user and root may read them" test "$(stat -c %a /run/credentials/coldbrood.service)" = 500
check "it runs as coldbrood" test "$(stat -c %U "/proc/$(property MainPID)")" = coldbrood
check "the watchdog is fed" wait_for 60 test -n "$(property WatchdogTimestamp)"

check "a test alert reaches the receiver" "$coldbrood" alert --test --config "$config"
check "and it is a whole message" wait_for 20 was_told '"title"'
check "setup to test alert: 5 commands, $((SECONDS - began)) s" test "$((SECONDS - began))" -lt 600
check "a probe's reading is taken" say '[{"n":"box-a","u":"Cel","v":24.5},{"n":"box-a:battery","u":"V","v":3.9},{"n":"box-a:signal","u":"dBW","v":-97}]'
check "and shown once it is kept" wait_for 90 has_reading 24.5
check "started anew on demand" systemctl restart coldbrood
check "root may note a look-in" "$coldbrood" note --config "$config" look-in huddled
check "and the daemon takes it" wait_for 40 sh -c 'journalctl -u coldbrood | grep -q huddled'
"$coldbrood" doctor --config "$config" >doctor.txt
check "the doctor finds the daemon, the broker and the journal well" test "$(grep -cE '^well +(daemon|broker|journal):' doctor.txt)" -ge 3
check "root makes a new link to the page" "$coldbrood" page link --renew --no-code --config "$config"
systemctl restart coldbrood
check "and by it the page opens" wait_for 60 page_opens
check "how long the box holds" "$coldbrood" hold --config "$config"
check "root's looks leave nothing of root's in the journal's folder" test -z "$(find /var/lib/coldbrood -not -user coldbrood)"

before=$(kept one)
check "$before rows are kept" test "${before:-0}" -gt 0
kill -9 "$(property MainPID)"
check "killed, it is started again" wait_for 60 restarted
check "and has lost nothing" test "$(kept two)" = "$before"

# A new version, pulled away half way, then done again; the daemon goes on all the while.
setsid "$checkout/deploy/install.sh" --wheelhouse /root/wheels-new >cut.log 2>&1 &
wait_for 60 half_made
kill -9 -- "-$!"
check "the upgrade was cut off half way" half_made
check "an upgrade cut off half way leaves the old version running" is_up
check "and the old version in place" test "$("$coldbrood" --version)" = "coldbrood 0.1.0"
check "the upgrade done again" "$checkout/deploy/install.sh" --wheelhouse /root/wheels-new
check "the new version is in place" test "$("$coldbrood" --version)" = "coldbrood 0.1.1.dev1"
check "and runs" wait_for 60 is_up
check "one version is left" test "$(find /opt/coldbrood -maxdepth 1 -name 'version-*' | wc -l)" = 1
check "every reading is still there" test "$(kept three)" = "$before"
check "backup while it runs" "$coldbrood" backup --config "$config" /root/kept.zip

systemctl stop coldbrood
check "restore as root" "$coldbrood" restore --config "$config" /root/kept.zip
check "and the daemon can use what was restored" systemctl start coldbrood
systemd-analyze security --no-pager coldbrood | tail -n 1 >score.txt
# shellcheck disable=SC2016 # for awk, not for the shell
check "exposure under 1.5 as systemd reckons it" awk '{ exit !($(NF - 2) < 1.5) }' score.txt
check "verify prints nothing" test -z "$(systemd-analyze verify coldbrood.service 2>&1 | grep coldbrood)"

"$checkout/deploy/install.sh" uninstall
check "uninstalled: no program, no unit, no broker files" test -z "$(ls -d /opt/coldbrood /usr/local/bin/coldbrood /etc/systemd/system/coldbrood.service /etc/mosquitto/conf.d/coldbrood.conf 2>/dev/null)"
check "uninstalled: the journal stays" test -s /var/lib/coldbrood/journal.db
check "uninstalled: config and secrets stay" test -s "$config" -a -s /etc/coldbrood/secrets/phone-url
check "a second uninstall has nothing to do" sh -c "$checkout/deploy/install.sh uninstall | grep -q '^nothing to do'"
echo "end" >&3
systemctl --no-block poweroff
