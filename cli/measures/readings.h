// Readings of a multimeter that a job asks for (`ask`): which, when, whether they can be, and at which tone
// the loaded ones are taken. The bands beyond which a reading is asked for again are common practice, no
// source.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "cli/measures/measure.h"

namespace assay::cli {

enum class ReadingMoment { before, loaded, after };

/// One that a job may ask for. `unit` is the field's own.
struct AskedReading {
    const char* field;
    const char* unit;
    ReadingMoment moment;
    const char* words;  // of the question
};

const std::vector<AskedReading>& askable_readings();

/// What the test asks for at that moment, in the order of the table. A test with supply_set_v asks for the
/// idle volts, whether or not its job says so.
std::vector<AskedReading> asked_of(const Test& test, ReadingMoment moment);

/// True for measures whose level is steady and known after, so that a tone may sound while meters are read.
bool has_loaded_moment(const std::string& measure);

/// "14.4", "14,4 V", "35 mV", "95 F": the number in the wanted unit ("V", "A", "mV", "degC"). Nothing where
/// it is no number of that unit.
std::optional<double> read_meter_text(std::string_view text, std::string_view unit);

/// Why a reading can hardly be, beside the others of its test; empty where it can.
std::string oddity_of(const Test& test, const std::string& field, double value);

/// Warnings of readings that were asked for and not given, and of those that can hardly be.
void note_readings(const Test& test, TestResult& result);

/// Level and frequency of the steady tone for the loaded readings: of clipping-power where its loads reach
/// the limit (supply_read_at_percent, 1 %, or the lowest that is there), the first load to reach it deciding;
/// of a steady tone that same tone.
struct SteadyTone {
    double level_dbfs = 0.0;
    double frequency_hz = 997.0;
};
std::optional<SteadyTone> tone_for_loaded(const Setup& setup, const std::vector<Take>& takes,
                                          const TestResult& result);

}  // namespace assay::cli
