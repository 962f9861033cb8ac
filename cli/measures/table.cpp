#include <utility>

#include "cli/measures/burst_power.h"
#include "cli/measures/clipping_power.h"
#include "cli/measures/distortion.h"
#include "cli/measures/driver_parameters.h"
#include "cli/measures/endurance.h"
#include "cli/measures/impedance.h"
#include "cli/measures/intermodulation.h"
#include "cli/measures/match.h"
#include "cli/measures/measure.h"
#include "cli/measures/meter_power.h"
#include "cli/measures/noise.h"
#include "cli/measures/output_impedance.h"
#include "cli/measures/power_bandwidth.h"
#include "cli/measures/response.h"
#include "cli/measures/separation.h"

namespace assay::cli {

namespace {

/// A test whose capture cannot be trusted has no numbers: said here for all measures.
Measure without_numbers_of_a_fault(Measure measure) {
    measure.evaluate = [evaluate = std::move(measure.evaluate)](const Setup& setup,
                                                                std::span<const Take> takes) {
        TestResult result = evaluate(setup, takes);
        if (result.fault) result.drop_numbers();
        return result;
    };
    return measure;
}

std::vector<Measure> all_measures() {
    std::vector<Measure> table{
        clipping_power::measure(),    distortion::measure(),      meter_power::measure(),
        response::measure(),          noise::measure(),           output_impedance::measure(),
        separation::measure(),        intermodulation::measure(), power_bandwidth::measure(),
        burst_power::measure(),       impedance::measure(),       match::measure(),
        driver_parameters::measure(), endurance::measure(),
    };
    for (Measure& measure : table) measure = without_numbers_of_a_fault(std::move(measure));
    return table;
}

}  // namespace

const std::vector<Measure>& measure_table() {
    static const std::vector<Measure> table = all_measures();
    return table;
}

const Measure* find_measure(const std::string& name) {
    for (const Measure& measure : measure_table()) {
        if (measure.name == name) return &measure;
    }
    return nullptr;
}

const std::vector<Field>& common_fields() {
    static const std::vector<Field> fields{
        {.name = "frequency_hz",
         .type = FieldType::number,
         .unit = "Hz",
         .default_text = "997",
         .minimum = 10.0,
         .maximum = 20000.0,
         .help = "frequency of the tone"},
        {.name = "drive_dbfs",
         .type = FieldType::number,
         .unit = "dBFS",
         .default_text = "-20",
         .minimum = -120.0,
         .maximum = 0.0,
         .help = "level of the tone, RMS re a full-scale sine"},
        {.name = "drive_volts",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 1e-6,
         .maximum = 100.0,
         .help = "level of the tone, volts RMS at the sound card's output"},
        {.name = "power_w",
         .type = FieldType::number,
         .unit = "W",
         .minimum = 1e-6,
         .maximum = 1e5,
         .help = "level of the tone as power into each load"},
        {.name = "distortion_bandwidth_hz",
         .type = FieldType::number,
         .unit = "Hz",
         .default_text = "20000",
         .minimum = 1000.0,
         .maximum = 80000.0,
         .help = "band within which distortion and noise count"},
    };
    return fields;
}

const std::vector<Field>& reading_fields() {
    static const std::vector<Field> fields{
        {.name = "supply_idle_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 0.0,
         .maximum = 500.0,
         .help = "supply at the unit's terminals, no signal"},
        {.name = "supply_loaded_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 0.0,
         .maximum = 500.0,
         .help = "supply at the unit's terminals, at full output"},
        {.name = "supply_current_a",
         .type = FieldType::number,
         .unit = "A",
         .minimum = 0.0,
         .maximum = 1000.0,
         .help = "supply current at full output"},
        {.name = "supply_idle_current_a",
         .type = FieldType::number,
         .unit = "A",
         .minimum = 0.0,
         .maximum = 1000.0,
         .help = "supply current, no signal"},
        {.name = "supply_uncertainty_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 0.0,
         .maximum = 10.0,
         .help = "standard uncertainty of each reading of the supply's volts"},
        {.name = "supply_current_uncertainty_percent",
         .type = FieldType::number,
         .unit = "%",
         .minimum = 0.0,
         .maximum = 30.0,
         .help = "standard uncertainty of the readings of current"},
        {.name = "supply_read_at_percent",
         .type = FieldType::number,
         .unit = "%",
         .minimum = 0.001,
         .maximum = 40.0,
         .help = "distortion limit at which the supply was read under load; left out: 1"},
        {.name = "dc_offset_mv",
         .type = FieldType::number,
         .unit = "mV",
         .minimum = -100000.0,
         .maximum = 100000.0,
         .help = "DC at the output by meter"},
        {.name = "case_temperature_c",
         .type = FieldType::number,
         .unit = "degC",
         .minimum = -40.0,
         .maximum = 200.0,
         .help = "of the unit's case"},
        {.name = "ambient_c",
         .type = FieldType::number,
         .unit = "degC",
         .minimum = -40.0,
         .maximum = 80.0,
         .help = "of the room"},
        {.name = "connected_load_ohm",
         .type = FieldType::number,
         .unit = "ohm",
         .minimum = 1.0,
         .maximum = 1e9,
         .help = "resistor that hangs at a line unit's output during the test, if any"},
        {.name = "controls",
         .type = FieldType::text,
         .help =
             "where the knobs and switches stand, e.g. \"bass +6, treble flat\"; or a table of positions"},
        {.name = "note", .type = FieldType::text, .help = "what else a reader should know of this test"},
        {.name = "ask",
         .type = FieldType::names,
         .help = "readings above that the run asks for when their moment has come"},
        {.name = "supply_voltages_v",
         .type = FieldType::numbers,
         .unit = "V",
         .minimum = 0.1,
         .maximum = 500.0,
         .help = "the test is done once at each of these supply voltages"},
        {.name = "supply_set_v",
         .type = FieldType::number,
         .unit = "V",
         .minimum = 0.1,
         .maximum = 500.0,
         .help = "supply to set before the test; the run asks for what the meter then reads"},
    };
    return fields;
}

}  // namespace assay::cli
