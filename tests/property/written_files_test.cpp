// What the program writes it reads back, and writes again as the same text: curves in every form, matches,
// loopback responses, readings, bundles. Numbers come back with the same bits unless it is said beside the
// check.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <charconv>
#include <fstream>
#include <map>
#include <sstream>

#include "cli/commands/session/curve_export.h"
#include "cli/files/curves/impedance_file.h"
#include "cli/files/curves/match_file.h"
#include "cli/files/curves/response_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/session/readings_file.h"
#include "cli/signature/bundle.h"
#include "property/draw.h"
#include "property/played_case.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

namespace fs = std::filesystem;

std::vector<double> rising(drawn::Draw& draw, std::size_t count) {
    std::vector<double> values{draw.decades(1e-3, 10.0)};
    while (values.size() < count) values.push_back(values.back() * (1.0 + draw.decades(1e-4, 1.0)));
    return values;
}

/// Of a thing that takes power: its real part is above zero.
analysis::ImpedanceCurve drawn_curve(drawn::Draw& draw) {
    analysis::ImpedanceCurve curve;
    const bool scatter = draw.chance(0.5);
    for (const double hz : rising(draw, 10 + draw.below(60))) {
        const double real = draw.decades(1e-3, 1e5);
        const double imaginary = draw.chance(0.1) ? 0.0 : real * draw.between(-20.0, 20.0);
        curve.points.push_back({hz, {real, imaginary}, scatter ? draw.decades(1e-12, 1.0) : 0.0});
    }
    return curve;
}

std::string whole(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
}

}  // namespace

RC_GTEST_PROP(CurveFile, TouchstoneComesBackWithTheSameBits, ()) {
    drawn::Draw draw = drawn::any_draw();
    const analysis::ImpedanceCurve curve = drawn_curve(draw);
    const std::string text = impedance_touchstone(curve, {"a remark"});
    const auto read = parse_impedance("curve.s1p", text);
    RC_ASSERT(read.has_value());
    RC_ASSERT(read->points.size() == curve.points.size());
    for (std::size_t k = 0; k < curve.points.size(); ++k) {
        RC_ASSERT(read->points[k].frequency_hz == curve.points[k].frequency_hz);
        RC_ASSERT(read->points[k].z_ohm == curve.points[k].z_ohm);
    }
    RC_ASSERT(impedance_touchstone(*read, {"a remark"}) == text);
}

// Magnitude and phase are written in full and turned into real and imaginary part when they are read: a few
// roundings of 2^-53, which the last digit shows.
RC_GTEST_PROP(CurveFile, TablesComeBackToTheLastDigit, ()) {
    constexpr double roundings = 1e-15;
    drawn::Draw draw = drawn::any_draw();
    const analysis::ImpedanceCurve curve = drawn_curve(draw);
    const bool scatter = curve.points.front().variance_ohm2 > 0.0;
    const auto near = [&](const char* file, const std::string& text, bool with_scatter) {
        RC_LOG(text);
        const auto read = parse_impedance(file, text);
        if (!read) RC_LOG(read.error().text);
        RC_ASSERT(read.has_value());
        RC_ASSERT(read->points.size() == curve.points.size());
        for (std::size_t k = 0; k < curve.points.size(); ++k) {
            const analysis::ImpedancePoint& is = read->points[k];
            const analysis::ImpedancePoint& was = curve.points[k];
            RC_ASSERT(is.frequency_hz == was.frequency_hz);
            RC_ASSERT(std::abs(is.z_ohm - was.z_ohm) <= roundings * std::abs(was.z_ohm));
            const double variance = with_scatter ? was.variance_ohm2 : 0.0;
            RC_ASSERT(std::abs(is.variance_ohm2 - variance) <= roundings * variance);
        }
    };
    near("curve.csv", impedance_csv(curve), scatter);
    near("curve.txt", impedance_text(curve, {"a remark", "another, with \"quotes\""}), false);
}

// What `export` writes of any curve of a session: cells without a number stay empty, all others keep their
// bits.
RC_GTEST_PROP(CurveFile, AnExportedTableHoldsTheSameBits, ()) {
    drawn::Draw draw = drawn::any_draw();
    Session session = hand_made::amplifier();
    analysis::Curve& curve = session.tests.front().result.loads.front().second.curves.front().second;
    const std::size_t rows = 1 + draw.below(40);
    for (std::size_t c = 0; c < curve.columns.size(); ++c) {
        curve.columns[c].values.clear();
        for (std::size_t k = 0; k < rows; ++k)
            curve.columns[c].values.push_back(c > 0 && draw.chance(0.1) ? std::nan("") : draw.any());
    }
    ExportChoice choice;
    choice.test = session.tests.front().id;
    choice.load = session.tests.front().result.loads.front().first;
    choice.curve = session.tests.front().result.loads.front().second.curves.front().first;
    const auto text = export_text(session, choice);
    if (!text) RC_LOG(text.error().text);
    RC_ASSERT(text.has_value());
    std::istringstream lines(*text);
    std::string line;
    RC_ASSERT(static_cast<bool>(std::getline(lines, line)));
    for (std::size_t k = 0; k < rows; ++k) {
        RC_ASSERT(static_cast<bool>(std::getline(lines, line)));
        std::istringstream cells(line + ",");
        for (const analysis::Column& column : curve.columns) {
            std::string cell;
            RC_ASSERT(static_cast<bool>(std::getline(cells, cell, ',')));
            if (std::isnan(column.values[k])) {
                RC_ASSERT(cell.empty());
                continue;
            }
            double value = 0.0;
            std::from_chars(cell.data(), cell.data() + cell.size(), value);
            RC_ASSERT(value == column.values[k]);
        }
    }
    RC_ASSERT(!std::getline(lines, line));
}

RC_GTEST_PROP(MatchFile, WrittenReadAndWrittenItIsTheSame, ()) {
    drawn::Draw draw = drawn::any_draw();
    InputMatch match;
    match.generator_side = draw.word({"jig-1", "\u00dc \"one\""});
    match.driver_side = "jig-2";
    match.generator_volts_per_unit = draw.any();
    match.driver_volts_per_unit = draw.any();
    for (const double hz : rising(draw, 1 + draw.below(40)))
        match.points.push_back(
            {hz, {draw.between(0.1, 2.0), draw.between(-1.0, 1.0)}, draw.decades(1e-14, 1e-2)});
    for (std::size_t s = 0; s < draw.below(3); ++s) {
        auto& doubts = match.relative_doubts[fmt::format("source:{}", s)];
        for (std::size_t k = 0; k < match.points.size(); ++k)
            doubts.emplace_back(draw.decades(1e-12, 1e-2), -draw.decades(1e-12, 1e-2));
    }
    const std::string text = match_text(match);
    const auto read = parse_match(text, "match.json");
    if (!read) RC_LOG(read.error().text);
    RC_ASSERT(read.has_value());
    RC_ASSERT(match_text(*read) == text);
    RC_ASSERT(read->generator_volts_per_unit == match.generator_volts_per_unit);
    RC_ASSERT(read->points.size() == match.points.size());
    for (std::size_t k = 0; k < match.points.size(); ++k) {
        const std::complex<double> was = match.points[k].ratio;
        RC_ASSERT(std::abs(read->points[k].ratio - was) <=
                  2.2e-13 * std::abs(was));  // fourteen digits, of half a turn too
        RC_ASSERT(std::abs(read->points[k].variance / match.points[k].variance - 1.0) <= 1e-15);
    }
    RC_ASSERT(read->relative_doubts.size() == match.relative_doubts.size());
    for (const auto& [source, doubts] : match.relative_doubts) {
        for (std::size_t k = 0; k < doubts.size(); ++k)
            RC_ASSERT(std::abs(read->relative_doubts.at(source)[k] - doubts[k]) <=
                      1e-13 * std::abs(doubts[k]));
    }
}

RC_GTEST_PROP(ResponseFile, WrittenReadAndWrittenItIsTheSame, ()) {
    drawn::Draw draw = drawn::any_draw();
    CardResponse card;
    card.input = draw.word({"probe-a", "\u00dc \"one\""});
    card.rate_hz = draw.of<double>({44100, 48000, 96000});
    if (draw.chance(0.7)) card.date = "2026-11-25";
    if (draw.chance(0.5)) card.playback_device = "host: card, 1";
    if (draw.chance(0.5)) card.gain_db = draw.between(-60.0, 60.0);
    if (draw.chance(0.5)) card.high_pass_undone_hz = draw.decades(0.1, 100.0);
    card.frequency_hz = rising(draw, 2 + draw.below(40));
    std::erase_if(card.frequency_hz, [](double hz) { return hz >= 1000.0; });
    for (const double hz : {1000.0, draw.between(1001.0, 20000.0)}) card.frequency_hz.push_back(hz);
    const bool doubts = draw.chance(0.5);
    if (doubts) card.standard_uncertainty_db.emplace();
    for (std::size_t k = 0; k < card.frequency_hz.size(); ++k) {
        card.magnitude_db.push_back(draw.between(-29.0, 29.0));
        card.phase_deg.push_back(draw.between(-720.0, 720.0));
        if (doubts) card.standard_uncertainty_db->push_back(draw.decades(1e-6, 1.0));
    }
    const std::string text = card_response_text(card);
    const auto read = parse_card_response(text, "card.json");
    if (!read) RC_LOG(read.error().text);
    RC_ASSERT(read.has_value());
    RC_ASSERT(card_response_text(*read) == text);
    RC_ASSERT(read->frequency_hz == card.frequency_hz);
    RC_ASSERT(read->magnitude_db == card.magnitude_db);
    RC_ASSERT(read->phase_deg == card.phase_deg);
    RC_ASSERT(read->standard_uncertainty_db == card.standard_uncertainty_db);
    RC_ASSERT(read->gain_db == card.gain_db);
}

RC_GTEST_PROP(ReadingsFile, WhatWasReadByMeterIsTheSameWhenTheSessionGoesOn, ()) {
    drawn::Draw draw = drawn::any_draw();
    Job job;
    for (std::size_t t = 0; t < 1 + draw.below(4); ++t) {
        Test test;
        test.id = fmt::format("test-{}_{}", t, draw.below(1000));
        test.measure = "clipping-power";
        job.tests.push_back(test);
    }
    Job blank = job;
    for (Test& test : job.tests) {
        for (const Field& field : reading_fields()) {
            if (field.type != FieldType::number || draw.chance(0.5)) continue;
            double value = draw.between(field.minimum, field.maximum);
            if (draw.chance(0.2)) value = field.maximum;
            test.fields[field.name] = value;
        }
    }
    const drawn::CaseFolder folder(false);
    RC_ASSERT(keep_readings(folder.path(), job).has_value());
    RC_ASSERT(apply_readings(folder.path(), blank).has_value());
    for (std::size_t t = 0; t < job.tests.size(); ++t)
        RC_ASSERT(blank.tests[t].fields == job.tests[t].fields);
}

// Sizes around the archive's blocks of 512 bytes, names of any depth.
RC_GTEST_PROP(Bundle, WhatIsPackedIsUnpackedBitForBit, ()) {
    drawn::Draw draw = drawn::any_draw();
    const drawn::CaseFolder folder(false);
    std::map<std::string, std::string> files;
    for (std::size_t f = 0; f < 1 + draw.below(8); ++f) {
        const std::string deep =
            draw.word({"", "captures/", "inputs/of a friend/", "plots/", "photographs/\u00fc/"});
        const std::string name = deep + fmt::format("file {}{}.bin", f, std::string(draw.below(60), 'n'));
        std::string bytes(draw.chance(0.6) ? 512 * draw.below(4) + draw.below(3) : draw.below(5000), '\0');
        for (char& byte : bytes) byte = static_cast<char>(draw.below(256));
        files[name] = bytes;
    }
    files["contents.json"] = "{}\n";
    const fs::path session = folder.path() / "session";
    for (const auto& [name, bytes] : files) {
        fs::create_directories((session / name).parent_path());
        std::ofstream(session / name, std::ios::binary) << bytes;
    }
    const fs::path bundle = folder.path() / "assay-1.tar";
    const auto written = write_bundle(session, "1", bundle);
    if (!written) RC_LOG(written.error().text);
    RC_ASSERT(written.has_value());
    const fs::path into = folder.path() / "unpacked";
    fs::create_directories(into);
    RC_ASSERT(unpack_bundle(bundle, into).has_value());
    std::map<std::string, std::string> found;
    for (const auto& entry : fs::recursive_directory_iterator(into)) {
        if (entry.is_regular_file())
            found[fs::relative(entry.path(), into).generic_string()] = whole(entry.path());
    }
    RC_ASSERT(found == files);
    RC_ASSERT(write_bundle(into, "1", folder.path() / "again.tar").has_value());
    RC_ASSERT(whole(folder.path() / "again.tar") == whole(bundle));
}

}  // namespace assay::cli
