# Print an optspec for argparse to handle cmd's options that are independent of any subcommand.
function __fish_twinwhite_global_optspecs
    string join \n config= operator= h/help V/version
end

function __fish_twinwhite_needs_command
    # Figure out if the current invocation already has a command.
    set -l cmd (commandline -opc)
    set -e cmd[1]
    argparse -s (__fish_twinwhite_global_optspecs) -- $cmd 2>/dev/null
    or return
    if set -q argv[1]
        # Also print the command, so this can be used to figure out what it is.
        echo $argv[1]
        return 1
    end
    return 0
end

function __fish_twinwhite_using_subcommand
    set -l cmd (__fish_twinwhite_needs_command)
    test -z "$cmd"
    and return 1
    contains -- $cmd[1] $argv
end

complete -c twinwhite -n "__fish_twinwhite_needs_command" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_needs_command" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_needs_command" -s h -l help -d 'Print help (see more with \'--help\')'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -s V -l version -d 'Print version'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "init" -d 'Begin a watch: four questions, and a commented configuration that is ready for `add` and `run`'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "run" -d 'Watch the folder, judge the stations, raise alerts, until stopped'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "add" -d 'Enter one reading by hand'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "ingest" -d 'Take files of readings or events in once, daemon or no daemon; the files stay where they are'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "inspect" -d 'The colorimetry of the readings in a file; stores nothing, needs no configuration'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "compare" -d 'Which of these lamps should a station have, and to what must its screen be calibrated to meet each?'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "status" -d 'Does the match hold at each station, since when, why, and what is there to do?'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "history" -d 'One thing over time: who it is, readings, model, records, and what corrects them'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "ageing" -d 'How a lamp or display ages, when it leaves its aim, and how far such dates were right before'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "forecast" -d 'State, risk and date of risk ahead'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "backtest" -d 'How good were the forecasts on the station\'s own past?'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "due" -d 'What is due, by date: overdue first, with the reason of each'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "alerts" -d 'All alerts, newest first'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "ack" -d 'Say that you have taken notice of an alert'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "sign" -d 'Sign a print off: the match as it stands now goes on record, and a certificate is handed out'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "messages" -d 'What waits to be told, what was given up, and whether every channel works'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "resend" -d 'Have messages tried again that were given up'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "maintenance" -d 'Say that something is being worked on: messages about it wait until then, and the record says why'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "record" -d 'Write down something that was done to a device'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "retract" -d 'Take a wrong record back by a new one; nothing is erased'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "release" -d 'Let a reading count that was held back'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "check" -d 'Are configuration, folders, ledger, time zone, reminders and channels sound?'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "desktop" -d 'Show messages on this desktop, as the user who sits at it; the channel \'desktop\' lays them down'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "rebuild" -d 'Make everything that is derived from the ledger anew'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "prune" -d 'Take the spectra of old readings out of the ledger, where nothing rests on them'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "backup" -d 'Write the whole ledger into one file, also while `run` works, and check it'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "restore" -d 'Put a backup in place: where there is no ledger, or where the ledger is its beginning'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "audit" -d 'The ledger: is it whole and unchanged, and how does somebody outside know?'
complete -c twinwhite -n "__fish_twinwhite_needs_command" -f -a "demo" -d 'An invented print room: two simulated years in seconds, then yours to look around in'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l dir -d 'The folder to begin in; made if it is not there [default: this one]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l display -d 'The screen: name, white, level' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l lamp -d 'The lamp: name, white, level, kind' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l paper -d 'The paper: name, and its white or what sort it is' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l folder -d 'The folder where readings will be dropped' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand init" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand run" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand run" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand run" -l new-ledger -d 'Begin a new ledger although the archive is not empty; the first entry says so'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand run" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand add" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand add" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand add" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand add" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ingest" -l device -d 'The device of all readings in files that name none' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ingest" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ingest" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ingest" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ingest" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l only -d 'Only the reading with this id' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l svg -d 'Draw spectra and hue shifts into this file' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l tables -d 'The tables of ISO 23603, if you own them, as CSV: nm,standard_1…5,d50_1…5' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l full -d 'Every figure of every reading, also where there are many'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand inspect" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand compare" -l station -d 'The station that needs a lamp' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand compare" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand compare" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand compare" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand compare" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand compare" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -l known-at -d 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -l exit-code -d 'Tell the verdict by the exit code: 0 matched, 10 at-risk, 11 out, 12 unknown'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand status" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l last -d 'Only the newest N readings' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l svg -d 'Draw readings, model, forecast, events, and what is not used and why, into this file' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l known-at -d 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand history" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ageing" -l svg -d 'Draw light over age and the way of its white into this file' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ageing" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ageing" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ageing" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ageing" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ageing" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -l horizon -d 'Days ahead, separated by commas' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -l known-at -d 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand forecast" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backtest" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backtest" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backtest" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backtest" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backtest" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l within -d 'Days ahead' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l ics -d 'Write the list into this file as iCalendar (RFC 5545), going on from what the file held before' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l as-of -d 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l known-at -d 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand due" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand alerts" -l known-at -d 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand alerts" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand alerts" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand alerts" -l open -d 'Only those that are not cleared'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand alerts" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand alerts" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ack" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ack" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand ack" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -l job -d 'What was approved: a name or number of the house' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -l file -d 'The file that was printed; its hash goes on record, not the file' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -l override -d 'Sign although the program objects, and say why' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -s o -l out -d 'The folder for certificate and page' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand sign" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand messages" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand messages" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand messages" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand messages" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand resend" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand resend" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand resend" -l all -d 'All of them'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand resend" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l until -d 'When it will be over, at most 90 days ahead: a day, or a local time, or RFC 3339' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l reason -d 'What is done' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l end -d 'End the maintenance with this number now' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l whole-site -d 'Everything'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand maintenance" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand record" -l at -d 'When; now if not given. RFC 3339, or local time of the site' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand record" -l file -d 'A file that belongs to it, such as a certificate: the ledger keeps its digest. Keep the file yourself' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand record" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand record" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand record" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand retract" -l reason -d 'Why' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand retract" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand retract" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand retract" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand release" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand release" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand release" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand check" -l send -d 'Send a test message through this channel and do nothing else' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand check" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand check" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand check" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand check" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand desktop" -l folder -d 'The folder of messages [default: that of the configuration\'s channel]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand desktop" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand desktop" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand desktop" -l once -d 'Look once and end'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand desktop" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand rebuild" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand rebuild" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand rebuild" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand prune" -l spectra-before -d 'Of readings made before this: a day, or a local time, or RFC 3339' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand prune" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand prune" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand prune" -l yes -d 'Do it, and not only say what would go'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand prune" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand prune" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backup" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backup" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backup" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand backup" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand restore" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand restore" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand restore" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand restore" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -f -a "verify" -d 'Recompute every hash, every signed head and every derived table; or check a certificate, anywhere'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -f -a "show" -d 'The entries of the ledger in words, all or those that fit'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -f -a "export" -d 'The whole ledger as text: JSON Lines, CSV and signed heads, with the description that another checker needs'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -f -a "head" -d 'The newest signed head and its short code, to be kept outside; signs one where there is news'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -f -a "prove" -d 'A certificate of one entry: the entry, its proof, a signed head and the key in one file'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and not __fish_seen_subcommand_from verify show export head prove key" -f -a "key" -d 'The key that signs heads: show it, replace it, or give it up'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -l head -d 'A signed head that was kept elsewhere, or its short code; more than once for several' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -l key -d 'The verifier key that was kept elsewhere, for a certificate' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -l file -d 'A print file: is it the one that was signed off under this certificate?' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from verify" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l device -d 'Only what names this display, lamp, paper or instrument' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l station -d 'Only what names this station' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l job -d 'Only the sign-offs of this job' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l by -d 'Only what this operator did' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l kind -d 'Only entries of this kind, like sign-off, reading, event, retract, verdict or alert' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l from -d 'Only what was written at that time or later; a day means its beginning' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l until -d 'Only what was written by that time; a day means its end' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l last -d 'Only the last of them' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from show" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from export" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from export" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from export" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from export" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from head" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from head" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from head" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from head" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from prove" -l head -d 'A file with a signed head that somebody kept; the certificate then shows that it is of the same history' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from prove" -s o -l out -d 'The file to write. Of a sign-off its page for people is written beside it, of the same name but .html' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from prove" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from prove" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from prove" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from prove" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from key" -l rotate -d 'Replace it, and say why; the old key must still be there' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from key" -l lost -d 'It is gone, or somebody else may have it: replace it, and say why' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from key" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from key" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from key" -l json -d 'Answer in JSON, numbers unrounded'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand audit; and __fish_seen_subcommand_from key" -s h -l help -d 'Print help'
complete -c twinwhite -n "__fish_twinwhite_using_subcommand demo" -l dir -d 'The folder to make; must not exist or be empty [default: a new temporary folder]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand demo" -l config -d 'The configuration file [default: ./twinwhite.toml, else the user\'s, else the system\'s]' -r -F
complete -c twinwhite -n "__fish_twinwhite_using_subcommand demo" -l operator -d 'Who is doing this, one of the configuration\'s operators; goes into the ledger [default: the login name, marked as that]' -r
complete -c twinwhite -n "__fish_twinwhite_using_subcommand demo" -s h -l help -d 'Print help'
