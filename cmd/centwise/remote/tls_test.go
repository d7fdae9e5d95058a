package remote_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"centwise/catalog"
	"centwise/cmd/centwise/remote"
	"centwise/cmd/centwise/server"
	"centwise/cmd/centwise/server/servertest"
)

// writeCertificate makes a certificate of its own for 127.0.0.1, with a name and a
// serial number.
func writeCertificate(tb testing.TB, folder, name string, serial int64, ip string) (cert, key string) {
	tb.Helper()
	private := must(ecdsa.GenerateKey(elliptic.P256(), rand.Reader))(tb)
	template := &x509.Certificate{SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "pool"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.ParseIP(ip)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der := must(x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private))(tb)
	cert, key = filepath.Join(folder, name+".pem"), filepath.Join(folder, name+".key")
	secret := must(x509.MarshalECPrivateKey(private))(tb)
	for path, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "EC PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			tb.Fatal(err)
		}
	}
	return cert, key
}

// Over TLS a pool with a certificate of its own is trusted by those who have it,
// and by nobody else; others never see the token.
func TestOverTLS(t *testing.T) {
	folder := t.TempDir()
	cert, key := writeCertificate(t, folder, "pool", 1, "127.0.0.1")
	other, _ := writeCertificate(t, folder, "other", 2, "127.0.0.1")
	elsewhere, elsewhereKey := writeCertificate(t, folder, "elsewhere", 3, "192.0.2.1")
	run := func(cert, key string) *servertest.Running {
		certificate := &server.Certificate{CertFile: cert, KeyFile: key}
		config := must(certificate.TLS())(t)
		return servertest.Start(t, newStore(t), func(c *server.Config) { c.TLS = config })
	}
	r := run(cert, key)
	if !strings.HasPrefix(r.URL, "https://") {
		t.Fatalf("URL %s", r.URL)
	}
	north := newStore(t)
	servertest.Band(t, north, 3)
	token := r.Token("lamp-keeper", catalog.ScopeCurate, nil)
	push := func(url, ca string) error {
		c := must(remote.New(remote.Config{URL: url, Token: token, CAFile: ca}))(t)
		_, err := c.Push(ctx, north, remote.Options{})
		return err
	}
	if err := push(r.URL, cert); err != nil {
		t.Fatal(err)
	}
	if n := must(r.Store.Info(ctx))(t).Sessions; n != 3 {
		t.Errorf("%d sessions", n)
	}
	for _, ca := range []string{"", other} {
		want(t, push(r.URL, ca), "can't prove that it is who it says", "--tls-ca")
	}
	wrongName := run(elsewhere, elsewhereKey)
	want(t, push(wrongName.URL, elsewhere), "can't prove that it is who it says", "192.0.2.1")
	if strings.Contains(wrongName.Journal.String(), "/v1/") {
		t.Error("a request went out to somebody else")
	}
	old, err := tls.Dial("tcp", strings.TrimPrefix(r.URL, "https://"), &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS11})
	if err == nil {
		old.Close()
		t.Error("TLS 1.1 is spoken")
	}
}

// A certificate that is renewed is used without a new start; one that can't be
// read leaves the old one.
func TestRenewedCertificate(t *testing.T) {
	folder := t.TempDir()
	cert, key := writeCertificate(t, folder, "pool", 1, "127.0.0.1")
	certificate := &server.Certificate{CertFile: cert, KeyFile: key}
	config := must(certificate.TLS())(t)
	serial := func() int64 {
		t.Helper()
		got := must(config.GetCertificate(nil))(t)
		return must(x509.ParseCertificate(got.Certificate[0]))(t).SerialNumber.Int64()
	}
	if n := serial(); n != 1 {
		t.Errorf("certificate %d", n)
	}
	writeCertificate(t, folder, "pool", 2, "127.0.0.1")
	later := time.Now().Add(time.Minute)
	for _, path := range []string{cert, key} {
		if err := os.Chtimes(path, later, later); err != nil {
			t.Fatal(err)
		}
	}
	certificate.LookAgain()
	if n := serial(); n != 2 {
		t.Errorf("certificate %d after it was renewed", n)
	}
	if err := os.WriteFile(cert, []byte("half a certif"), 0o600); err != nil {
		t.Fatal(err)
	}
	certificate.LookAgain()
	if n := serial(); n != 2 {
		t.Errorf("certificate %d while a new one is written", n)
	}
	_, err := (&server.Certificate{CertFile: cert, KeyFile: key}).TLS()
	want(t, err, "--tls-cert")
}
