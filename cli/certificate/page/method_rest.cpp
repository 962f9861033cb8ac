// How the measures were made whose method is the same in every test.
#include "cli/certificate/page/parts.h"

namespace assay::cli {

std::string common_method(const std::string& measure) {
    if (measure == "response") {
        return "A sine that rises through the band was played, and the voltage at every load recorded. The "
               "recording’s spectrum was divided by that of the tone; what came out at the tone’s own "
               "frequency is the response, and harmonics arrive at other times, where they were taken apart "
               "(a method after A. Farina and A. Novak). Limits are where the curve first lies 1 or 3 dB "
               "below its value at 1 kHz.";
    }
    if (measure == "noise") {
        return "With the input silent the voltage was recorded for some seconds. Its averaged spectrum gives "
               "the noise from 20 Hz to 20 kHz, weighted as the ear hears by IEC 61672-1 (A) and by the "
               "network of ITU-R BS.468; hum is what stands out of it at multiples of the mains frequency.";
    }
    if (measure == "separation") {
        return "One channel was driven at several frequencies, the other’s input silent; the separation is "
               "how far the tone’s voltage at the silent one lies below that at the driven one.";
    }
    if (measure == "intermodulation") {
        return "Two tones were played at once; the voltages at their sums and differences, found by least "
               "squares, are taken over the tones by the formula in the conditions (as IEC 60268-3 is "
               "remembered).";
    }
    if (measure == "output-impedance") {
        return "The voltage of one output with a known load and without it tells the impedance within, by "
               "the voltage divider; the damping factor is the load’s resistance over it at 1 kHz.";
    }
    if (measure == "power-bandwidth") {
        return "The power at the distortion limit was found at several frequencies, each by steps of rising "
               "level: it is taken where the distortion crosses the limit for the last time on the way up. "
               "Where the "
               "harmonics lie beyond the band, the fall of the gain stands in for distortion.";
    }
    if (measure == "endurance") {
        return "A level was held, and voltage and distortion logged from the recording; the run ends where "
               "the output has fallen for good, is gone, the supply is down by its readings, or the time is "
               "up.";
    }
    return {};
}

}  // namespace assay::cli
