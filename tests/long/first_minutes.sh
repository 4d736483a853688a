#!/bin/sh
# The first minutes of a newcomer, by the README alone, timed in steps: a fresh clone and
# environment, a job of his own by `new`, its plan.
#     sh tests/long/first_minutes.sh [FOLDER]
# His answers are the usual ones but for weather, which comes from a file: a machine without
# a network has no stations. Ten minutes are asked for all of it, his typing left out.
set -eu
here=$(cd "$(dirname "$0")/../.." && pwd)
folder=${1:-$(mktemp -d)}
cd "$folder"
began=$(date +%s)
step() { echo "$(($(date +%s) - began)) s: $*"; }
git clone -q "$here" clone
step "cloned"
python3 -m venv venv
venv/bin/pip install -q --disable-pip-version-check ./clone
step "installed, as pipx and uv tool do it"
venv/bin/cureplan --help >help.txt
cp clone/cureplan/demo_data/heat-wave.csv weather.csv
venv/bin/python - >answers.txt <<'PYTHON'
from cureplan.inputs.job.interview import next_question

said = {
    "access.from": "2013-07-17 19:00",
    "access.open_by": "2013-07-20 06:00",
    "weather.source": "file",
}
answers = {}
while (question := next_question(answers)) is not None and question.path[0] != "rooms":
    answers[question.key] = said.get(question.key, question.usual)
    print(answers[question.key])
print("Cook line", "30 ft", "22 ft", "food preparation", "", "none", "", sep="\n")
PYTHON
venv/bin/cureplan new job.toml <answers.txt
step "a job file of his own"
venv/bin/cureplan check job.toml >check.txt
step "checked"
venv/bin/cureplan plan job.toml >plan.txt || [ $? = 1 ]
head -n 4 plan.txt
test -s night-plan/sheet.html
step "planned; the sheet lies in $folder/night-plan"
