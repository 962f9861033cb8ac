// The response of a sound card's loopback ("assay-response-1"): written, read again, and refused in one line
// whatever is in it.
#include "cli/files/curves/response_file.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <complex>
#include <numbers>

namespace assay::cli {
namespace {

/// A first-order low-pass at 20 kHz, half a dB up, late by 30 us: closed form.
std::complex<double> card_at(double hz) {
    return std::pow(10.0, 0.025) / std::complex<double>(1.0, hz / 20000.0) *
           std::polar(1.0, -2.0 * std::numbers::pi * hz * 30e-6);
}

CardResponse whole_card() {
    CardResponse card;
    card.input = "probe-a";
    card.rate_hz = 96000.0;
    card.date = "2026-05-04";
    for (double hz = 8.0; hz < 44000.0; hz *= std::exp2(1.0 / 24.0)) {
        card.frequency_hz.push_back(hz);
        card.magnitude_db.push_back(20.0 * std::log10(std::abs(card_at(hz))));
        card.phase_deg.push_back(std::arg(card_at(hz)) * 180.0 / std::numbers::pi);
    }
    return card;
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
    const std::size_t at = text.find(what);
    EXPECT_NE(at, std::string::npos) << what;
    return at == std::string::npos ? text : text.replace(at, what.size(), by);
}

const std::string small = R"({"schema": "assay-response-1", "input": "probe-a", "rate_hz": 96000, "date": "d",
"frequency_hz": [10, 1000, 40000], "magnitude_db": [-1, 0, -2], "phase_deg": [3, 0, -90]})";

/// The text is refused with a fault of one visible line that names the file and holds `word`.
void expect_refused(const std::string& text, const std::string& word) {
    const auto card = parse_card_response(text, "card.json");
    ASSERT_FALSE(card.has_value()) << text.substr(0, 200);
    const capture::Fault& fault = card.error();
    EXPECT_EQ(fault.kind, capture::FaultKind::bad_input_file);
    EXPECT_TRUE(fault.text.starts_with("card.json: ")) << fault.text;
    EXPECT_NE(fault.text.find(word), std::string::npos) << fault.text << " has no " << word;
    EXPECT_LT(fault.text.size(), 400U);
    EXPECT_FALSE(fault.mend.empty());
    for (const char c : fault.text)
        EXPECT_TRUE(static_cast<unsigned char>(c) >= 0x20 && c != 0x7f) << fault.text;
}

TEST(ResponseFile, IsReadAsItWasWritten) {
    CardResponse card = whole_card();
    card.high_pass_undone_hz = 6.0;
    const auto read = parse_card_response(card_response_text(card), "card.json");
    ASSERT_TRUE(read.has_value()) << read.error().text;
    EXPECT_EQ(read->input, card.input);
    EXPECT_EQ(read->rate_hz, card.rate_hz);
    EXPECT_EQ(read->date, card.date);
    EXPECT_EQ(read->high_pass_undone_hz, card.high_pass_undone_hz);
    EXPECT_EQ(read->frequency_hz, card.frequency_hz);
    EXPECT_EQ(read->magnitude_db, card.magnitude_db);
    EXPECT_EQ(read->phase_deg, card.phase_deg);
}

TEST(ResponseFile, WhatMayBeLeftOutMay) {
    const auto read = parse_card_response(replaced(small, R"("date": "d",)", ""), "card.json");
    ASSERT_TRUE(read.has_value()) << read.error().text;
    EXPECT_TRUE(read->date.empty());
    EXPECT_FALSE(read->high_pass_undone_hz.has_value());
}

// Between the points the curve is that of the closed form, re its magnitude at 1 kHz; an eighth of an octave
// of a first-order curve bends by less than 0.002 dB and 0.05 degrees.
TEST(ResponseFile, CurveBetweenItsPoints) {
    const CardResponse card = whole_card();
    for (const double hz : {20.0, 31.7, 997.0, 1000.0, 3333.0, 12345.0, 19999.0}) {
        const std::complex<double> off = card.at(hz) / (card_at(hz) / std::abs(card_at(1000.0)));
        EXPECT_NEAR(20.0 * std::log10(std::abs(off)), 0.0, 0.002) << hz;
        EXPECT_NEAR(std::arg(off) * 180.0 / std::numbers::pi, 0.0, 0.05) << hz;
    }
    EXPECT_TRUE(card.covers(8.0, 40000.0));
    EXPECT_FALSE(card.covers(2.0, 40000.0));
    EXPECT_FALSE(card.covers(20.0, 80000.0));
}

// A high-pass that was undone stands in the curve again: 1 / (1 - j f0 / f), first order.
TEST(ResponseFile, HighPassComesBack) {
    CardResponse card = whole_card();
    card.high_pass_undone_hz = 100.0;
    const std::complex<double> coupling = 1.0 / std::complex<double>(1.0, -1.0);
    const double at_1khz = std::abs(card_at(1000.0)) / std::hypot(1.0, 0.1);
    EXPECT_NEAR(std::abs(card.at(100.0) - card_at(100.0) * coupling / at_1khz), 0.0, 1e-3);
}

TEST(ResponseFile, NumbersThatCannotBeAreRefused) {
    for (const auto& [what, by, word] : std::vector<std::array<std::string, 3>>{
             {"assay-response-1", "assay-match-1", "schema"},
             {"96000", "0", "rate_hz"},
             {"96000", "-96000", "rate_hz"},
             {"96000", "\"96000\"", "rate_hz"},
             {"96000", "1e999", ""},
             {"[10, 1000, 40000]", "[10, 10, 40000]", "frequency_hz"},
             {"[10, 1000, 40000]", "[1000, 10, 40000]", "frequency_hz"},
             {"[10, 1000, 40000]", "[0, 1000, 40000]", "frequency_hz"},
             {"[10, 1000, 40000]", "[-10, 1000, 40000]", "frequency_hz"},
             {"[10, 1000, 40000]", "[10, 1000, 60000]", "half of rate_hz"},
             {"[10, 1000, 40000]", "[10, 1000, null]", "frequency_hz[2]"},
             {"[10, 1000, 40000]", "[10, 1000, \"40000\"]", "frequency_hz[2]"},
             {"[10, 1000, 40000]", "[10, 1000, [40000]]", "frequency_hz[2]"},
             {"[10, 1000, 40000]", "{}", "frequency_hz"},
             {"[10, 1000, 40000]", "[2000, 3000, 40000]", "1000"},
             {"[10, 1000, 40000]", "[10, 100, 900]", "1000"},
             {"[10, 1000, 40000]", "[10, 1000]", "equally long"},
             {"[-1, 0, -2]", "[-1, 0, -2, 0]", "equally long"},
             {"[-1, 0, -2]", "[]", "equally long"},
             {"[-1, 0, -2]", "[-1, 0, -200]", "magnitude_db"},
             {"[-1, 0, -2]", "[-1, 1e300, -2]", "magnitude_db"},
             {"[3, 0, -90]", "[3, 0]", "equally long"},
             {"[3, 0, -90]", "[3, NaN, -90]", "JSON"},
             {"\"input\": \"probe-a\", ", "", "input"},
             {"\"probe-a\"", "17", "input"},
             {"\"d\"", "[]", "date"},
             {"\"date\": \"d\"", "\"high_pass_undone_hz\": 0", "high_pass_undone_hz"},
             {"\"date\": \"d\"", "\"high_pass_undone_hz\": -5", "high_pass_undone_hz"},
             {"\"date\": \"d\"", "\"high_pass_undone_hz\": \"6\"", "high_pass_undone_hz"}}) {
        SCOPED_TRACE(what + " -> " + by);
        expect_refused(replaced(small, what, by), word);
    }
}

TEST(ResponseFile, HostileContentIsRefusedInOneLine) {
    const std::string deep(200000, '[');
    expect_refused("", "JSON");
    expect_refused("{", "JSON");
    expect_refused("null", "object");
    expect_refused("[]", "object");
    expect_refused("\"text\"", "object");
    expect_refused(deep, "JSON");
    expect_refused(deep + std::string(200000, ']'), "object");
    expect_refused(std::string("\0\0\0", 3), "JSON");
    expect_refused("\xff\xfe{}", "JSON");
    expect_refused(small + small, "JSON");
    expect_refused(small.substr(0, small.size() / 2), "JSON");
    expect_refused(replaced(small, "probe-a", "probe-\xc3"), "JSON");
    // What a terminal would obey, in a text that the message tells.
    expect_refused(replaced(small, "assay-response-1", "\\u001b[2J\\nassay: done"), "schema");
    expect_refused(replaced(small, "assay-response-1", std::string(100000, 'x')), "schema");
}

// No cut of the file is taken for a whole one.
TEST(ResponseFile, EveryCutIsRefused) {
    for (std::size_t length = 0; length + 1 < small.size(); ++length)
        EXPECT_FALSE(parse_card_response(small.substr(0, length), "card.json").has_value()) << length;
}

// Frequencies and phases at the ends of what a number holds may be nonsense; they make no NaN.
TEST(ResponseFile, ExtremeNumbersStayNumbers) {
    const auto read = parse_card_response(
        replaced(replaced(small, "[10,", "[1e-300,"), "[3, 0, -90]", "[1e300, -1e300, 1e300]"), "card.json");
    if (!read) return;
    for (const double hz : {1e-300, 1.0, 20.0, 1000.0, 40000.0})
        EXPECT_TRUE(std::isfinite(std::abs(read->at(hz))));
}

TEST(ResponseFile, NoFileIsAFaultOfItsOwn) {
    const auto read = read_card_response("/nowhere/card.json");
    ASSERT_FALSE(read.has_value());
    EXPECT_NE(read.error().text.find("card.json"), std::string::npos) << read.error().text;
}

}  // namespace
}  // namespace assay::cli
