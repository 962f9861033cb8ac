#include "cli/commands/cautions.h"

namespace assay::cli {

std::string cautions_text() {
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
