// The words of the first page for a reader who knows nothing of measurement: a sentence for each that stands
// there, and for no other.
#include <algorithm>
#include <array>
#include <string_view>

#include "cli/certificate/page/first_sheet.h"

namespace assay::cli {
namespace {

struct Explained {
    std::array<std::string_view, 4> beginnings;  // of the quantities' names; empty ones are none
    std::string_view word;
    std::string_view meaning;
};

constexpr auto explained = std::to_array<Explained>({
    {{"thd", "power_at_", "voltage_at_", "harmonic"},
     "Distortion (THD)",
     "what the unit adds to a pure tone, as a share of it"},
    {{"thd_plus_noise"}, "THD+N", "distortion and noise together"},
    {{"power", "total_power", "burst_power", "clip_onset_w"},
     "Watts",
     "what the unit keeps up on average (continuous sine), not a short peak; the load stands in for the "
     "loudspeaker"},
    {{"signal_to_noise", "noise"},
     "Noise",
     "what is heard when nothing plays; A-weighted: as the ear hears it"},
    {{"signal_to_noise"},
     "Signal to noise",
     "how far the noise lies below the music; more decibels (dB) are better"},
    {{"lower_limit", "upper_limit"},
     "Limits at -3 dB",
     "the lowest and the highest pitch that still come through at half the power"},
    {{"separation"},
     "Separation",
     "how little of one channel is heard in the other; more decibels are better"},
    {{"modulation", "difference_frequency"},
     "Intermodulation",
     "what two tones make of each other that was in neither"},
    {{"damping"}, "Damping factor", "how firmly the amplifier holds the cone"},
    {{"headroom"}, "Headroom", "how much more the unit gives for an instant"},
    {{"resonance_hz", "fs_hz"}, "Resonance (fs)", "the pitch at which the cone swings by itself"},
    {{"minimum_ohm", "maximum_ohm", "impedance"},
     "Impedance",
     "what the driver is to the amplifier, in ohms; it changes with pitch"},
    {{"qts", "qes", "qms"},
     "Q (Qts, Qes, Qms)",
     "how long the cone goes on swinging; the higher, the longer"},
    {{"vas"}, "Vas", "the litres of air that are as springy as the cone's suspension"},
    {{"re_ohm"}, "Re", "the resistance of the voice coil"},
    {{"sensitivity"},
     "Sensitivity",
     "how loud the driver is at a metre; 3 dB more is as good as twice the amplifier"},
    {{"bl_tm"}, "Bl", "the strength of magnet and coil together"},
});

bool is_about(const Explained& entry, const std::string& name) {
    return std::any_of(entry.beginnings.begin(), entry.beginnings.end(), [&](std::string_view beginning) {
        return !beginning.empty() && name.starts_with(beginning);
    });
}

}  // namespace

std::string glossary_text(const std::vector<std::string>& names) {
    constexpr int most = 6;
    std::string text;
    int count = 0;
    for (const Explained& entry : explained) {
        if (count == most) break;
        if (std::none_of(names.begin(), names.end(), [&](const auto& name) { return is_about(entry, name); }))
            continue;
        text += (text.empty() ? "" : " ") + std::string(entry.word) + ": " + std::string(entry.meaning) + '.';
        ++count;
    }
    return text;
}

}  // namespace assay::cli
