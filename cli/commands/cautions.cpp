#include "cli/commands/cautions.h"

namespace assay::cli {

std::string cautions_text(UnitKind kind) {
    if (kind == UnitKind::driver) {
        return "Before the first tone:\n"
               "  * Keep steel tools, screws and fingers away from an open magnet gap: it snaps and "
               "pinches.\n"
               "  * Start with the volume at its lowest. What follows is soft; a player or amplifier at full "
               "volume is not,\n"
               "    and burns the resistor or throws the cone out.\n"
               "  * Never bridge an amplifier into the jig: the recorder's ground is at one of its ends.\n"
               "  * Nothing may touch the cone while it plays. Solder, and change what is in the jig, with "
               "the "
               "player off.\n"
               "Local codes and qualified people come before anything that is written here.\n";
    }
    if (kind == UnitKind::line) {
        return "Before the first tone:\n"
               "  * Mains inside a case, and old gear on its first power-up, are for qualified people. "
               "Measure "
               "with the case\n"
               "    closed. Never lift the protective earth.\n"
               "  * No amplifier and no headphones on the unit: tones are loud and steady, and hurt ears and "
               "tweeters.\n"
               "  * Valve stages: a coupling capacitor that leaks puts hundreds of volts on the output jack. "
               "Read its DC\n"
               "    with the meter first; above a volt nothing else is connected.\n"
               "  * The computer's input stands few volts: divider first, ground first, signal last.\n"
               "Local codes and qualified people come before anything that is written here.\n";
    }
    return "Before the first tone:\n"
           "  * Bridged outputs: BOTH terminals are live. Never tie the recorder's ground to either; use two "
           "probes\n"
           "    that refer to the supply's negative. High-power outputs reach tens of volts: no bare clips, "
           "one hand,\n"
           "    switch off to move a lead.\n"
           "  * Load resistors pass 200 degrees C: heatsink, airflow, nothing that burns near, tongs, no "
           "touching.\n"
           "  * Batteries deliver hundreds of amperes into a short: fuse at the battery post, rings and "
           "watches off,\n"
           "    insulated tools, negative lead off first and on last.\n"
           "  * Mains inside a case, and old gear on its first power-up, are for qualified people. Never "
           "lift the\n"
           "    protective earth.\n"
           "  * Loudspeakers and headphones off: tones are loud and steady. Start with the volume at its "
           "lowest.\n"
           "  * The computer's input stands few volts: divider and clamp first, ground first, signal last.\n"
           "Local codes and qualified people come before anything that is written here.\n";
}

}  // namespace assay::cli
