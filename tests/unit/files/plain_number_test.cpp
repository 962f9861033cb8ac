#include "cli/measures/plain_number.h"

#include <gtest/gtest.h>

#include <limits>

namespace {

using assay::cli::plain_number;
using assay::cli::plain_volts;

TEST(PlainNumber, HasNoPowersOfTenWherePeopleReadNumbers) {
    EXPECT_EQ(plain_number(1.7e-5, 2), "0.000017");
    EXPECT_EQ(plain_number(0.0996, 2), "0.1");
    EXPECT_EQ(plain_number(0.00999, 2), "0.01");
    EXPECT_EQ(plain_number(36.55, 6), "36.55");
    EXPECT_EQ(plain_number(250.0, 6), "250");
    EXPECT_EQ(plain_number(123456.0, 6), "123456");
    EXPECT_EQ(plain_number(1234567.0, 2), "1200000");
    EXPECT_EQ(plain_number(-0.5, 3), "-0.5");
    EXPECT_EQ(plain_number(0.0, 3), "0");
}

TEST(PlainNumber, LeavesTheExtremesToPrintf) {
    EXPECT_EQ(plain_number(1e-15, 2), "1e-15");
    EXPECT_EQ(plain_number(3e15, 2), "3e+15");
    EXPECT_EQ(plain_number(std::numeric_limits<double>::infinity(), 2), "inf");
}

TEST(PlainVolts, TakeThePrefixThatAPersonWouldSay) {
    EXPECT_EQ(plain_volts(12.149), "12.1 V");
    EXPECT_EQ(plain_volts(0.25), "0.25 V");
    EXPECT_EQ(plain_volts(0.0042), "4.2 mV");
    EXPECT_EQ(plain_volts(3.14159e-5), "31.4 µV");
    EXPECT_EQ(plain_volts(0.0), "0 V");
}

}  // namespace
