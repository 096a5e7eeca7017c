#!/bin/sh
# A sound card without hardware, for one test run: a private PulseAudio with one null sink as
# loudspeaker; what is played there is the microphone (its monitor).
#   sound_card.sh start FOLDER [duplex]   prints the environment a program needs, one NAME=value a line;
#                                duplex: a second sink, "mic", is the microphone instead;
#                                RATE (16000) and CHANNELS (1) in the environment are the card's
#   sound_card.sh stop FOLDER
#   sound_card.sh freeze FOLDER  stops the microphone's sound without ending any stream
# norewinds: without it a null sink loses the first samples and stalls for seconds when idle.
set -eu
folder=$2
socket=$folder/native
rate=${RATE:-16000} channels=${CHANNELS:-1}
export HOME="$folder" XDG_RUNTIME_DIR="$folder" PULSE_RUNTIME_PATH="$folder/pulse"
export PULSE_STATE_PATH="$folder/state" PULSE_SERVER="unix:$socket"
unset DBUS_SESSION_BUS_ADDRESS DISPLAY PULSE_LATENCY_MSEC || true

case $1 in
start)
    mkdir -p "$folder/pulse" "$folder/state" "$folder/.config/pulse"
    chmod 700 "$folder" "$folder/pulse"
    cat >"$folder/.config/pulse/daemon.conf" <<EOF
default-sample-rate = $rate
alternate-sample-rate = $rate
exit-idle-time = -1
enable-shm = no
realtime-scheduling = no
high-priority = no
flat-volumes = no
EOF
    cat >"$folder/card.pa" <<EOF
load-module module-native-protocol-unix auth-anonymous=1 socket=$socket
load-module module-null-sink sink_name=card rate=$rate channels=$channels format=s16le norewinds=1
set-default-sink card
set-default-source card.monitor
EOF
    if [ "${3:-}" = duplex ]; then
        sed -i '/set-default-source/d' "$folder/card.pa"
        cat >>"$folder/card.pa" <<EOF
load-module module-null-sink sink_name=mic rate=$rate channels=$channels format=s16le norewinds=1
set-default-source mic.monitor
EOF
    fi
    cat >"$folder/asound.conf" <<EOF
pcm.pulse { type pulse }
ctl.pulse { type pulse }
pcm.!default { type pulse hint { show on description "test card" } }
ctl.!default { type pulse }
EOF
    pulseaudio -n -F "$folder/card.pa" --daemonize=no --use-pid-file=no --disallow-exit \
        --exit-idle-time=-1 --log-target="file:$folder/log" >/dev/null 2>&1 &
    echo $! >"$folder/pid"
    tries=0
    until pactl info >/dev/null 2>&1; do
        tries=$((tries + 1))
        [ $tries -lt 50 ] || { cat "$folder/log" >&2; exit 1; }
        sleep 0.1
    done
    echo "PULSE_SERVER=$PULSE_SERVER"
    echo "PULSE_RUNTIME_PATH=$PULSE_RUNTIME_PATH"
    echo "XDG_RUNTIME_DIR=$XDG_RUNTIME_DIR"
    echo "ALSA_CONFIG_PATH=/usr/share/alsa/alsa.conf:$folder/asound.conf"
    ;;
freeze) pactl suspend-sink card 1 ;;
stop) kill "$(cat "$folder/pid")" ;;
*) sed -n '2,9p' "$0"; exit 2 ;;
esac
