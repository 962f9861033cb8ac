#include "cli/commands/cautions.h"

#include <unistd.h>

#include <algorithm>
#include <string_view>
#include <vector>

#include "cli/commands/terminal/io.h"
#include "cli/files/plain_text.h"

namespace assay::cli {

namespace {

std::string listed(const std::vector<std::string_view>& cautions, std::size_t columns) {
    std::string text = "Before the first tone:\n";
    for (const std::string_view caution : cautions) text += labelled_lines("  *", 4, caution, columns);
    return text + broken_to("Local codes and qualified people come before anything that is written here.\n",
                            columns);
}

}  // namespace

std::size_t columns_for_cautions() {
    std::size_t columns = common_columns;
    for (const int descriptor : {STDOUT_FILENO, STDERR_FILENO})
        columns = std::min(columns, terminal_columns(descriptor).value_or(columns));
    return columns;
}

std::string cautions_text(UnitKind kind, std::size_t columns) {
    if (kind == UnitKind::driver) {
        return listed(
            {
                "Keep steel tools, screws and fingers away from an open magnet gap: it snaps and pinches.",
                "Start with the volume at its lowest. What follows is soft; a player or amplifier at full "
                "volume is not, and burns the resistor or throws the cone out.",
                "Never bridge an amplifier into the jig: the recorder's ground is at one of its ends.",
                "Nothing may touch the cone while it plays. Solder, and change what is in the jig, with the "
                "player off.",
            },
            columns);
    }
    if (kind == UnitKind::line) {
        return listed(
            {
                "Mains inside a case, and old gear on its first power-up, are for qualified people. Measure "
                "with the case closed. Never lift the protective earth.",
                "No amplifier and no headphones on the unit: tones are loud and steady, and hurt ears and "
                "tweeters.",
                "Valve stages: a coupling capacitor that leaks puts hundreds of volts on the output jack. "
                "Read its DC with the meter first; above a volt nothing else is connected.",
                "The computer's input stands few volts: divider first, ground first, signal last.",
            },
            columns);
    }
    return listed(
        {
            "Bridged outputs: BOTH terminals are live. Never tie the recorder's ground to either; use two "
            "probes that refer to the supply's negative. High-power outputs reach tens of volts: no bare "
            "clips, one hand, switch off to move a lead.",
            "Load resistors pass 200 degrees C: heatsink, airflow, nothing that burns near, tongs, no "
            "touching.",
            "Batteries deliver hundreds of amperes into a short: fuse at the battery post, rings and watches "
            "off, insulated tools, negative lead off first and on last.",
            "Mains inside a case, and old gear on its first power-up, are for qualified people. Never lift "
            "the protective earth.",
            "Loudspeakers and headphones off: tones are loud and steady. Start with the volume at its "
            "lowest.",
            "The computer's input stands few volts: divider and clamp first, ground first, signal last.",
        },
        columns);
}

}  // namespace assay::cli
